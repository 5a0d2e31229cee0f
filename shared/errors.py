"""Errors that people see. The tree:

    KilnrotaError
    ├── FolderError      a studio folder, plan file or other input that cannot be used: one Fault for each thing wrong
    ├── RequestError     a command or request that asks for something that is not there
    └── AuditError       a plan that breaks a rule (raised by scheduler.audit, with its breaches)

A fault says where it is, what is wrong, and what would be right; a page, a problem document and a line on the
terminal show the same three.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, order=True)
class Fault:
    """One thing wrong with an input.

    Attributes
    ----------
    file
        The file's name, relative to the folder.
    place
        Key path, or row and column.
    problem
        What is wrong, with the value met.
    remedy
        What would be right.
    """

    file: str
    place: str
    problem: str
    remedy: str

    def __str__(self) -> str:
        where = f"{self.file}, {self.place.replace(' › ', ', ')}" if self.place else self.file
        return f"{where}: {self.problem}; {self.remedy}" if self.remedy else f"{where}: {self.problem}"


class KilnrotaError(Exception):
    """Anything that the program tells a person."""


class FolderError(KilnrotaError):
    """An input that cannot be used, with every fault found in it."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class RequestError(KilnrotaError):
    """Something was asked for that is not there, or cannot be done; the message says what would be right."""


class AuditError(KilnrotaError):
    """A plan that breaks rules; never shown, stored or published."""
