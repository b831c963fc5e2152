"""ISO 11783-10 task data: a TASKDATA.XML and its time logs -> columns as every other raw file has them."""

from proofstrip.read.task_log.load import load_task_logs, look_at_task_logs
from proofstrip.read.task_log.places import (
    file_called,
    find_logs,
    is_log,
    is_task_file,
    task_file_beside,
    task_parts,
)

__all__ = [
    "file_called",
    "find_logs",
    "is_log",
    "is_task_file",
    "load_task_logs",
    "look_at_task_logs",
    "task_file_beside",
    "task_parts",
]
