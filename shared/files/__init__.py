"""Reading and writing what the program keeps in files: the studio folder, plans, recorded firings."""

from shared.files.folder import read_folder

__all__ = ["read_folder"]
