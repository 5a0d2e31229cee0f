"""The palette, read from the style sheet itself: contrast by WCAG 2.2, and what is left of it for colour-blind eyes."""

from __future__ import annotations

import re
from importlib.resources import files

import numpy as np
import pytest

CSS = files("api").joinpath("static", "kilnrota.css").read_text(encoding="utf-8")
RULES = re.findall(r"([^{}]+)\{([^{}]*)\}", re.sub(r"/\*.*?\*/", "", CSS, flags=re.S))
COLOURS = dict(re.findall(r"--([a-z-]+):\s*(#[0-9a-f]{6})", CSS))

TEXT, PARTS = 4.5, 3.0
"""Least contrast of text (WCAG 2.2, 1.4.3, AA) and of borders and marks that tell something (1.4.11)."""

PAPERS = ("paper", "card")

# Machado, Oliveira & Fernandes, IEEE TVCG 15 (2009) 1291: complete loss of one kind of cone, on linear RGB. The numbers
# are from memory; each row must sum to 1, since white stays white.
SIGHT = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def linear(colour: str) -> np.ndarray:
    """Linear RGB of a hex colour (IEC 61966-2-1)."""
    value = np.array([int(colour[n : n + 2], 16) for n in (1, 3, 5)]) / 255.0
    return np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)


def luminance(rgb: np.ndarray) -> float:
    return float(np.clip(rgb, 0, 1) @ np.array([0.2126, 0.7152, 0.0722]))


def contrast(first: np.ndarray, second: np.ndarray) -> float:
    """WCAG's contrast ratio of two linear colours."""
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def colour_of(declarations: str, name: str) -> str | None:
    found = re.search(rf"(?:^|;)\s*{name}:\s*([^;]+)", declarations)
    if found is None:
        return None
    value = found[1].strip()
    match = re.search(r"var\(--([a-z-]+)\)", value)
    return COLOURS[match[1]] if match else value


def text_pairs() -> list[tuple[str, str, str]]:
    pairs = []
    for selector, body in RULES:
        ink = colour_of(body, "color")
        if ink is None or selector.strip() == ":root":
            continue
        ground = colour_of(body, "background")
        assert ground is not None, f"{selector.strip()} sets a colour and no background"
        grounds = [COLOURS[name] for name in PAPERS] if ground == "transparent" else [ground]
        pairs += [(selector.strip(), ink, one) for one in grounds]
    return pairs


def test_white_and_black_have_the_contrast_that_the_standard_says() -> None:
    """WCAG 2.2, definition of contrast ratio: from 1 to 21."""
    assert contrast(linear("#ffffff"), linear("#000000")) == pytest.approx(21.0)
    assert contrast(linear("#777777"), linear("#ffffff")) == pytest.approx(4.48, abs=0.01)


@pytest.mark.parametrize(("selector", "ink", "ground"), text_pairs())
def test_every_text_stands_out_from_its_ground(selector: str, ink: str, ground: str) -> None:
    assert contrast(linear(ink), linear(ground)) >= TEXT


def test_no_colour_is_used_that_the_palette_does_not_name() -> None:
    named = set(COLOURS.values())
    loose = {c for c in re.findall(r"#[0-9a-f]{6}|#[0-9a-f]{3}\b", CSS) if c not in named}
    assert loose == {"#eeeae0"}  # the shade of times when nobody is there: behind drawings, never behind text


@pytest.mark.parametrize("name", ["line", "ink", "oxide", "lake", "alarm", "soft"])
def test_borders_and_marks_stand_out_from_the_paper(name: str) -> None:
    for paper in (*PAPERS, "oxide-back" if name == "oxide" else "lake-back" if name == "lake" else "card"):
        assert contrast(linear(COLOURS[name]), linear(COLOURS[paper])) >= PARTS


@pytest.mark.parametrize("sight", SIGHT)
def test_heating_and_cooling_stay_apart_for_colour_blind_eyes(sight: str) -> None:
    """Both stay dark on the paper; and their hue, what is left of it, differs as clearly as their pattern does."""
    matrix = np.array(SIGHT[sight])
    assert np.allclose(matrix.sum(axis=1), 1.0, atol=1e-5)
    heat, cool, paper = (np.clip(matrix @ linear(COLOURS[name]), 0, 1) for name in ("oxide", "lake", "paper"))
    assert contrast(heat, paper) >= PARTS
    assert contrast(cool, paper) >= PARTS
    assert lab_distance(heat, cool) > 20.0  # ΔE*ab (CIE 1976); 2.3 is just noticeable (Mahy et al. 1994)


def lab_distance(first: np.ndarray, second: np.ndarray) -> float:
    """Distance in CIELAB (CIE 15) of two linear sRGB colours, white D65."""
    to_xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    white = to_xyz @ np.ones(3)

    def lab(rgb: np.ndarray) -> np.ndarray:
        t = to_xyz @ rgb / white
        f = np.where(t > (6 / 29) ** 3, np.cbrt(t), t / (3 * (6 / 29) ** 2) + 4 / 29)
        return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])

    return float(np.linalg.norm(lab(first) - lab(second)))


def test_every_phase_has_a_pattern_or_a_frame_of_its_own() -> None:
    looks = {}
    for selector, body in RULES:
        match = re.fullmatch(r"\.ph-([a-z]+)", selector.strip())
        if match:
            looks[match[1]] = re.sub(r"var\(--[a-z-]+\)", "colour", body)
    assert set(looks) == {"clean", "load", "wait", "heat", "hold", "cool", "open", "out"}
    solid = [name for name, look in looks.items() if "url(" not in look and "dasharray" not in look]
    assert sorted(solid) == ["hold", "load", "open"]  # told apart by lightness: brown, black, white with a frame
    shades = [luminance(linear(COLOURS[name])) for name in ("ink", "oxide", "card")]
    assert shades[1] - shades[0] > 0.04
    assert shades[2] - shades[1] > 0.5
