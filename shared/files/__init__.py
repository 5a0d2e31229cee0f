"""Reading and writing what the program keeps in files: the studio folder, plans, recorded firings."""

from shared.files.doubts import folder_warnings
from shared.files.firing_log import FiringLog, read_log
from shared.files.fitted import write_fitted
from shared.files.folder import read_folder, write_folder
from shared.files.plan_json import plan_text, read_plan, write_plan

__all__ = [
    "FiringLog",
    "folder_warnings",
    "plan_text",
    "read_folder",
    "read_log",
    "read_plan",
    "write_fitted",
    "write_folder",
    "write_plan",
]
