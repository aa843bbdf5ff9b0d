"""What can hurt when a lens is opened or shimmed, said where the report may lead to that (common practice)."""

from __future__ import annotations

OPENING = (
    "Before you open or shim anything: unplug it, take batteries out and let it discharge. A flash's capacitors "
    "can kill long after its battery is out: don't open a flash, nor a camera that has one built in.",
    "Bare glass has sharp edges, and some old glass contains lead or is weakly radioactive: don't grind, sand or "
    "break it; wash your hands; pick broken pieces up with tape into a bag, don't sweep them dry.",
    "These are the usual cautions: local rules and licensed practice come first.",
)
