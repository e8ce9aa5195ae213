"""The sheet: text that describes a circuit, read and printed."""

from amptrail.sheet.faults import fault_text, parse_fault
from amptrail.sheet.feeds import feed_text, parse_feed
from amptrail.sheet.parse import parse, parse_point, parse_with_warnings
from amptrail.sheet.printer import print_sheet

__all__ = [
    "fault_text",
    "feed_text",
    "parse",
    "parse_fault",
    "parse_feed",
    "parse_point",
    "parse_with_warnings",
    "print_sheet",
]
