"""Two ways to use a page: with a pointer, and with nothing but the keyboard."""

from __future__ import annotations

from typing import Any

MOST_TABS = 150
"""After so many presses of the tab key a thing counts as out of reach [-]."""


class Pointer:
    """Clicks and fills in."""

    def press(self, page: Any, thing: Any) -> None:
        """Use a button, link or box."""
        thing.click()

    def write(self, page: Any, thing: Any, text: str) -> None:
        """Fill a field."""
        thing.fill(text)

    def choose(self, page: Any, thing: Any, value: str) -> None:
        """Choose from a list by what is written there."""
        thing.select_option(label=value)


class Keys:
    """Reaches everything with the tab key, and sees where it is."""

    def reach(self, page: Any, thing: Any) -> None:
        """Go to a thing."""
        for _ in range(MOST_TABS):
            if thing.evaluate("node => node === document.activeElement"):
                break
            page.keyboard.press("Tab")
        assert thing.evaluate("node => node === document.activeElement"), f"{thing} cannot be reached by keyboard"
        outline = thing.evaluate("node => getComputedStyle(node).outlineStyle")
        assert outline != "none", f"{thing} has the focus and does not show it"

    def press(self, page: Any, thing: Any) -> None:
        """Use a button, link or box."""
        self.reach(page, thing)
        is_box = thing.evaluate("node => ['checkbox', 'radio'].includes(node.type) || node.tagName === 'SUMMARY'")
        page.keyboard.press("Space" if is_box else "Enter")

    def write(self, page: Any, thing: Any, text: str) -> None:
        """Fill a field."""
        self.reach(page, thing)
        page.keyboard.press("ControlOrMeta+a")
        page.keyboard.type(text)

    def choose(self, page: Any, thing: Any, value: str) -> None:
        """Choose from a list by typing its beginning."""
        self.reach(page, thing)
        page.keyboard.type(value)


Hands = Pointer | Keys
