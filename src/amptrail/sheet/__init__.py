"""The sheet: text that describes a circuit, read and printed."""

from amptrail.sheet.faults import fault_text, parse_fault
from amptrail.sheet.feeds import feed_text, parse_feed
from amptrail.sheet.parse import parse, parse_point, parse_with_warnings
from amptrail.sheet.printer import print_sheet
from amptrail.sheet.readings import Reading, Readings, parse_readings

__all__ = [
    "Reading",
    "Readings",
    "fault_text",
    "feed_text",
    "parse",
    "parse_fault",
    "parse_feed",
    "parse_point",
    "parse_readings",
    "parse_with_warnings",
    "print_sheet",
]
