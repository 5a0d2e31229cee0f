"""What a fit found, for the terminal: factors, each log against the model, and each log foretold unseen."""

from __future__ import annotations

import math

from api.fitting import FitOutcome
from api.formats import Formats
from api.printing.columns import heading, paragraph, row
from scheduler.firing.fit import LogFit
from shared.units import degrees

SHOWN_POINTS = 10
"""How many moments of a log are printed."""


def fit_text(outcome: FitOutcome, formats: Formats) -> str:
    """The whole output of ``kilnrota fit``, but for what was written."""
    words, fit = formats.words, outcome.fit
    count = words.count("fit.logs", len(fit.logs))
    lines = [heading(words("fit.title", kiln=outcome.kiln.title, logs=count))]
    fitted = fit.fitted
    for name, factor, error in (
        ("power", fitted.power, fitted.power_error),
        ("loss", fitted.loss, fitted.loss_error),
        ("storage", fitted.storage, fitted.storage_error),
    ):
        spread = math.exp(error or 0.0)
        text = words("fit.factor_row", factor=factor, low=factor / spread, high=factor * spread)
        lines += row(words(f"fit.factor_{name}"), "", text)
    if fit.undetermined:
        names = formats.join([words(f"fit.factor_{name}") for name in fit.undetermined])
        lines += paragraph(words("fit.undetermined", factors=names), indent=4)
    lines += paragraph(words("fit.residual", residual=fit.residual_k), indent=4)
    for log in fit.logs:
        lines += ["", *_log_lines(log, outcome, formats)]
    lines += ["", *paragraph(words("fit.mind"), indent=2)]
    lines += ["", *_left_out_lines(outcome, formats)]
    return "\n".join(lines) + "\n"


def _log_lines(log: LogFit, outcome: FitOutcome, formats: Formats) -> list[str]:
    """A log beside the model, at moments spread over it."""
    words, unit = formats.words, formats.studio.controller_unit(outcome.kiln)
    size = log.minutes.size
    chosen = sorted({round(number * (size - 1) / (SHOWN_POINTS - 1)) for number in range(SHOWN_POINTS)})

    def table(label: str, texts: list[str]) -> str:
        return "    " + label.ljust(9) + "".join(text.rjust(8) for text in texts)

    return [
        "  " + words("fit.log_head", name=log.name, mass=log.mass_factor),
        table(words("fit.column_hours"), [formats.duration(float(log.minutes[at])) for at in chosen]),
        table(words("fit.column_measured"), [_degrees(log.measured_c[at], unit) for at in chosen]),
        table(words("fit.column_fitted"), [_degrees(log.fitted_c[at], unit) for at in chosen]),
    ]


def _degrees(temperature_c: float, unit: str) -> str:
    return f"{degrees(float(temperature_c), 'F' if unit == 'F' else 'C'):.0f} °{unit}"


def _left_out_lines(outcome: FitOutcome, formats: Formats) -> list[str]:
    words = formats.words
    if outcome.not_left_out:
        return paragraph(words("fit.not_left_out", why=outcome.not_left_out), indent=2, hanging=2)
    lines = ["  " + words("fit.left_out_head")]
    for log in outcome.left_out:
        off = _error_text(log.end_of_heating_error_h, formats)
        safe = _error_text(log.safe_error_h, formats)
        lines += paragraph(words("fit.left_out_row", name=log.name, off=off, safe=safe), indent=4, hanging=2)
    return lines


def _error_text(error_h: float | None, formats: Formats) -> str:
    """By how much a time was foretold too early or too late."""
    if error_h is None:
        return formats.words("fit.unseen")
    minutes = round(abs(error_h) * 60)
    if minutes == 0:
        return formats.words("fit.exact")
    return formats.words("fit.late" if error_h > 0 else "fit.early", hours=formats.spelt_duration(minutes))
