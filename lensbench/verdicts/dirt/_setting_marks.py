"""The marks of one setting, as placing them needs it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from lensbench.findings import Mark, PanelMarks, Setting


class SettingMarks(NamedTuple):
    """A setting that has flats: its number in `Report.settings`, how it was configured, and its marks."""

    number: int
    label: str
    f_number: float | None
    lens_turn_deg: float
    setup: int
    marks: Sequence[Mark]
    panels: Sequence[PanelMarks]

    @property
    def mount(self) -> tuple[float, int]:
        """The mount's orientation and the setup: while both stay, dirt stays where it is in the picture."""
        return self.lens_turn_deg % 360, self.setup


def marks_of_settings(settings: Sequence[Setting]) -> list[SettingMarks]:
    """The settings that have flats, in their order."""
    return [
        SettingMarks(
            number, one.label, one.f_number, one.lens_turn_deg, one.setup, one.dust.marks, one.dust.panels
        )
        for number, one in enumerate(settings)
        # Where the front group alone was turned, marks on other glass stay: no turn of the lens to compare by.
        if one.dust is not None and one.turned == "lens"
    ]
