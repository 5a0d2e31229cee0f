"""loads.csv, read with the row and column of every fault as a spreadsheet shows them (the header is row 1).

The standard library's reader is used, not a table library: each cell stays the text that stands there (cone 06 is
not 6), and each fault knows its cell.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from shared.files.examples import CELL_EXAMPLES
from shared.files.fault_list import FaultList
from shared.files.toml_tables import Reading
from shared.files.values import Odd, clipped, nearest, shown
from shared.files.wording import plain_words, unknown_key
from shared.loads import Load
from shared.texts import say

COLUMNS = tuple(CELL_EXAMPLES)
REQUIRED = ("id", "profile", "footprint_cm2", "height_mm", "mass_kg")
"""The columns without which no load can be planned; the others have defaults."""

NUMBERS = frozenset(
    {"pieces", "footprint_cm2", "height_mm", "mass_kg", "thickness_mm", "diameter_mm", "max_temperature", "priority"}
)
DECIMALS = NUMBERS - {"pieces", "priority"} | {"gap_hours", "session_hours"}
"""The columns that may hold decimals."""

MOST_ROWS = 20_000
"""More rows than this are not read; house choice, far above what waits in any studio."""

_NUMBER = re.compile(r"[+-]?([0-9]{1,15}(\.[0-9]{0,15})?|\.[0-9]{1,15})([eE][+-]?[0-9]{1,2})?")
_YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


@dataclass(frozen=True)
class Row:
    """One row: its number, its cells by column, and the load if it is a right one."""

    number: int
    cells: dict[str, str]
    load: Load | None

    def place(self, column: str) -> str:
        """Where a cell stands."""
        return say("fault.row_column", row=self.number, column=column)


def load_rows(text: str, reading: Reading, faults: FaultList) -> list[Row]:
    """Every row of loads.csv, each validated on its own."""
    if not text.strip():
        faults.add("", say("fault.is_empty"), say("fault.write_a_header", columns=",".join(COLUMNS)))
        return []
    separator = _separator(text.split("\n", 1)[0])
    records = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    header: list[str] = []
    rows: list[Row] = []
    number = 0
    try:
        for number, record in enumerate(records, 1):
            cells = [cell.strip() for cell in record]
            if number == 1:
                header = _header(cells, faults)
                if not any(header):
                    break
            elif any(cells):
                rows.append(_row(number, header, cells, reading, faults))
            if faults.hopeless:
                break
            if len(rows) > MOST_ROWS:
                faults.add(
                    say("fault.row", number=number),
                    say("fault.past_th_load", number=MOST_ROWS),
                    say("fault.split_studio_clear"),
                )
                break
    except csv.Error as error:
        problem = say("fault.quoted_text_never") if "unexpected end" in str(error) else say("fault.quotes_do_not")
        if "field larger" in str(error):
            problem = say("fault.cell_longer_than")
        faults.add(say("fault.row", number=number + 1), problem, say("fault.put_before_after"))
    return rows


def _separator(first_line: str) -> str:
    # A spreadsheet may save with semicolons or tabs; the one that yields known column names is meant.
    def known(separator: str) -> int:
        return sum(cell.strip().strip('"').strip().casefold() in CELL_EXAMPLES for cell in first_line.split(separator))

    return max((",", ";", "\t"), key=known)


def _header(cells: Sequence[str], faults: FaultList) -> list[str]:
    """The column that each cell of the header names; empty for one to be passed over.

    A misspelt column is a fault, and is read as the one that was probably meant, to find the faults in its cells too.
    """
    header: list[str] = []
    for position, cell in enumerate(cells, 1):
        name = cell.casefold()
        place = say("fault.row_1_column", column=clipped(cell) or position)
        if name and name not in CELL_EXAMPLES:
            faults.add(place, *unknown_key(cell, COLUMNS, "column"))
            name = nearest(name, COLUMNS) or ""
            name = "" if name in header or name in cells else name
        elif name in header:
            faults.add(place, say("fault.stands_twice_header"), say("fault.keep_one_two"))
            name = ""
        header.append(name)
        if faults.hopeless:
            break
    for name in REQUIRED:
        if name not in header:
            faults.add(
                say("fault.row_1_column", column=name),
                say("fault.is_missing"),
                say("fault.add_the_column", example=CELL_EXAMPLES[name]),
            )
    return header


def _row(number: int, header: Sequence[str], cells: Sequence[str], reading: Reading, faults: FaultList) -> Row:
    # Cells past the header that hold nothing are a spreadsheet's habit, no fault.
    width = max((position for position, cell in enumerate(cells, 1) if cell), default=0)
    texts = {name: cell for name, cell in zip(header, cells, strict=False) if name and cell}
    if len(cells) < len(header) or width > len(header):
        problem, remedy = _wrong_width(header, cells)
        faults.add(say("fault.row", number=number), problem, remedy)
        # Its cells may stand in the wrong columns, so that nothing but its id is taken from it.
        return Row(number, {"id": texts["id"]} if "id" in texts else {}, None)
    values = {name: _value(name, cell) for name, cell in texts.items()}
    try:
        load = Load.model_validate(values, by_alias=True, by_name=False, context=reading.context)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            _tell(number, header, detail, reading, faults)
        return Row(number, texts, None)
    return Row(number, texts, load)


def _wrong_width(header: Sequence[str], cells: Sequence[str]) -> tuple[str, str]:
    """What is wrong with a row that has not as many cells as the header; often one number was cut by its comma."""
    problem = say("fault.cells_where_header", cells=len(cells), header=len(header))
    cut = [
        at
        for at in range(len(header) if len(cells) == len(header) + 1 else 0)
        if header[at] in DECIMALS
        and re.fullmatch(r"[0-9]{1,5}", cells[at])
        and re.fullmatch(r"[0-9]{1,2}", cells[at + 1])
        and _in_their_columns(header, (*cells[:at], "0", *cells[at + 2 :]))
    ]
    if not cut:
        return problem, say("fault.give_each_column")
    # Where several would do, the mass is meant: it is what scales give with decimals.
    at = next((at for at in cut if header[at] == "mass_kg"), cut[0])
    number = shown(f"{cells[at]},{cells[at + 1]}")
    told = say("fault.comma_cuts", problem=problem, number=number, column=header[at])
    return told, say("fault.write_point", value=f"{cells[at]}.{cells[at + 1]}")


def _in_their_columns(header: Sequence[str], cells: Sequence[str]) -> bool:
    return all(
        not cell or bool(_NUMBER.fullmatch(cell)) for name, cell in zip(header, cells, strict=True) if name in NUMBERS
    )


def _tell(number: int, header: Sequence[str], error: ErrorDetails, reading: Reading, faults: FaultList) -> None:
    column = str(error["loc"][0]) if error["loc"] else "after"
    if (error["type"] == "temperature" and not reading.unit_known) or (
        error["type"] == "missing" and column not in header
    ):
        return
    problem, remedy = plain_words(error, CELL_EXAMPLES[column], write="fault.write")
    if error["type"] == "missing":
        problem = say("fault.is_empty")
    faults.add(say("fault.row_column", row=number, column=column), problem, remedy)


def _value(column: str, cell: str) -> Any:
    if column in NUMBERS:
        return cell if _NUMBER.fullmatch(cell) else Odd(shown(cell)) if _passes_for_a_number(cell) else cell
    if column == "alone":
        return _YES.get(cell.casefold(), Odd(shown(cell)))
    if column == "kilns":
        return [name.strip() for name in cell.split(";") if name.strip()]
    if column == "stream":
        return cell.casefold()
    return cell


def _passes_for_a_number(cell: str) -> bool:
    # Python reads nan, inf and 1_000 as numbers; a studio does not.
    try:
        float(cell)
    except ValueError:
        return False
    return True
