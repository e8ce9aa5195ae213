"""The job log: append-only, replayed into state, durable once acknowledged.

Nothing here imports the database until a log is opened (`amptrail.store.sql.open_log`).
"""

from amptrail.store.entries import KINDS, Entry, StoreError
from amptrail.store.files import Attached, of_bytes, of_path
from amptrail.store.log import Log, MemoryLog
from amptrail.store.people import ROLES, Person
from amptrail.store.search import Hit, search
from amptrail.store.state import JobState, alive, rebuild, undone
from amptrail.store.transfer import export_file, export_job, import_file, import_job, is_file

__all__ = [
    "KINDS",
    "ROLES",
    "Attached",
    "Entry",
    "Hit",
    "JobState",
    "Log",
    "MemoryLog",
    "Person",
    "StoreError",
    "alive",
    "export_file",
    "export_job",
    "import_file",
    "import_job",
    "is_file",
    "of_bytes",
    "of_path",
    "rebuild",
    "search",
    "undone",
]
