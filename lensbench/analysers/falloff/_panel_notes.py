"""What is said of the light panel: what could not be separated from the lens, and what to do about it."""

ANGLE = (
    "Light that fades because the panel is seen at an angle does not move with the panel. No such flats can "
    "separate it from the lens's falloff, so it is counted as the lens's."
)
GRADIENT = (
    "A panel that grows brighter evenly towards one side looks the same wherever it is moved, so the gradient may "
    "be the panel's own. Turn the panel half round about the middle of the picture for one more flat "
    "(panel_turn_deg = 180) to find out."
)
ONE_POSITION = (
    "The panel stayed in one position, so falloff is of lens and light together: of the lens alone one can't tell "
    "until the panel is moved. The intervals hold what is lopsided; a light that is brighter or darker in the "
    "middle shows in no such flat. To take its unevenness out, move it by a "
    "quarter of the picture or more for further flats, across and down (panel = 2, 3 …), and turn it half round "
    "for one (panel_turn_deg = 180)."
)
TURNED_ONLY = (
    "The panel was turned but not moved: its gradient is taken out, but a panel that is brighter (or darker) in "
    "the middle than all around is still in these figures. Move it by a quarter of the picture for more flats."
)
MOVES_UNKNOWN = (
    "How far the panel was moved can't be measured, because its light has too little structure of its own: the "
    "flats are averaged instead, and part of the panel's unevenness stays in these figures. Stick a few small "
    "pieces of paper on the panel, or say in session.toml how far it was moved (panel_shift)."
)
TWO_POSITIONS = (
    "The panel was in two positions, which is too few to measure how far and which way it was moved: the flats "
    "are averaged instead, and part of the panel's unevenness stays in these figures. Move it once more, the "
    "other way (down, if it went across), by a quarter of the picture or more, for a third flat (panel = 3), or "
    "say in session.toml how far it was moved (panel_shift)."
)
TOO_LITTLE = "Too little of the frame can be measured."


def even_panel(moved: bool, change_stops: float) -> str:
    """Say that a panel is even as far as moving (or turning) it shows."""
    return (
        f"{'Moving' if moved else 'Turning'} the panel changed the picture by no more than "
        f"{max(change_stops, 0.001):.3f} stop: it is even, as far as that can show."
    )
