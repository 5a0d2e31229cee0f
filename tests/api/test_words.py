"""Every text that code or templates name is in the catalogue, filled in as it is written, and none lies idle."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from api.words import read_words
from scheduler.audit.door import RULES
from scheduler.audit.form import REASONS

API = Path(__file__).parent.parent.parent / "api"
SOURCES = [path.read_text(encoding="utf-8") for end in ("py", "html") for path in API.rglob(f"*.{end}")]
CALL = re.compile(r"\bwords(?:\.count|\.each)?\(\s*([^,()]+)")
KEY = re.compile(r"""["']([a-z_]+\.[a-z_.-]+)["']""")
# Keys that end in a value, or in a word of the code.
PUT_TOGETHER = ("caution.", "sheet.", "fit.factor_", "thing.", "noted.", "held_until.")


def named_keys() -> set[str]:
    return {key for text in SOURCES for call in CALL.findall(text) for key in KEY.findall(call)}


def test_every_text_named_is_in_the_catalogue() -> None:
    words = read_words()
    missing = {k for k in named_keys() if k not in words and not {f"{k}.one", f"{k}.other"} <= words.keys}
    assert missing == set()
    assert len(named_keys()) > 100


def test_no_text_lies_idle() -> None:
    everything = "\n".join(SOURCES)
    idle = set()
    for key in read_words().keys:
        if key.startswith("rule."):
            continue  # the audit's own names; below
        plain = re.sub(r"\.(one|other)$", "", key)
        last = plain.split(".", 1)[1]
        of_parts = plain.startswith(PUT_TOGETHER) and ("." in last or f'"{last.removeprefix("factor_")}"' in everything)
        if not of_parts and not re.search(rf"""["']{re.escape(plain)}["']""", everything):
            idle.add(key)
    assert idle == set()


def test_counted_texts_come_in_both_numbers() -> None:
    keys = read_words().keys
    assert {key.removesuffix(".one") for key in keys if key.endswith(".one")} == {
        key.removesuffix(".other") for key in keys if key.endswith(".other") and f"{key[:-6]}.one" in keys
    }


def test_every_caution_has_a_name_and_a_text() -> None:
    keys = {key for key in read_words().keys if key.startswith("caution.")}
    assert {key.removesuffix(".name") for key in keys if key.endswith(".name")} == {
        key.removesuffix(".text") for key in keys if key.endswith(".text")
    }
    wanted = (
        "hot-kiln fumes burnout-smoke hot-flask silica-dust glare enamel-dust carbon-box thick-ware sharp-glass lead"
    )
    assert all(f"caution.{key}.text" in keys for key in wanted.split())


def test_an_unknown_text_is_an_error_not_a_blank() -> None:
    with pytest.raises(KeyError):
        read_words()("plan.no_such_text")


def test_every_rule_has_a_name_in_words() -> None:
    """Whatever an audit may breach or give as the reason why a load has no place is named on pages and sheets."""
    known = {key.removeprefix("rule.") for key in read_words().keys if key.startswith("rule.")}
    assert known == REASONS | {rule.__name__ for rule in RULES} | {"well_formed"}
