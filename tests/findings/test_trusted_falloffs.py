"""Which settings' falloff speaks: where the panel's own light was solved for, before where it was not."""

from lensbench.findings import Falloff, FalloffGrid, LightPanel, Setting, trusted_falloffs


def setting(f_number, solved):
    panel = LightPanel([], removed=solved)
    return Setting(f_number, falloff=Falloff([], FalloffGrid([], [], []), None, True, panel=panel))


def test_solved_light_speaks_first():
    plain, solved = setting(4.0, False), setting(5.6, True)
    assert trusted_falloffs([plain, solved, Setting(8.0)]) == [solved]


def test_without_any_all_speak():
    plain = setting(4.0, False)
    assert trusted_falloffs([plain, Setting(8.0)]) == [plain]
