"""The job log: append-only, replayed into state, durable once acknowledged.

Nothing here imports the database until a log on disk is opened (`amptrail.store.sql.open_log`).
"""

from amptrail.store.entries import KINDS, Entry, StoreError
from amptrail.store.log import Log, MemoryLog
from amptrail.store.state import JobState, alive, rebuild, undone
from amptrail.store.transfer import export_job, import_job

__all__ = [
    "KINDS",
    "Entry",
    "JobState",
    "Log",
    "MemoryLog",
    "StoreError",
    "alive",
    "export_job",
    "import_job",
    "rebuild",
    "undone",
]
