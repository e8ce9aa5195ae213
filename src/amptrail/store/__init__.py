"""The job log: append-only, ids made by the caller, state rebuilt by replay."""

from amptrail.store.entries import KINDS, Case, Entry, rebuild
from amptrail.store.log import Log, MemoryLog, SqliteLog, default_path

__all__ = ["KINDS", "Case", "Entry", "Log", "MemoryLog", "SqliteLog", "default_path", "rebuild"]
