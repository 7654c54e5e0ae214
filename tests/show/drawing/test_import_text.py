"""What is said of a drawing: counted, cut where there is much of it, and never read as markup."""

from __future__ import annotations

from gradehaul.plan.drawing.records import Fault, Spot
from gradehaul.plan.edit.importing import Imported
from gradehaul.plan.edit.writer import Changes
from gradehaul.show.drawing.import_text import import_page
from plan.drawing.hand_made import assembled, straight


def page(faults=(), changes=None, *, new=True, strokes=None):
    from dataclasses import replace

    drawn = replace(assembled(strokes or [straight(0, 0, 2, 0)]), faults=tuple(faults))
    return import_page(Imported(drawn, "", "mm", changes or Changes(), new, ()), "[red]tarn.toml").text()


def test_a_drawing_without_faults_and_heights():
    assert page() == (
        "tarn.dxf\n"
        "  Found 1 line, 1 track, 0 turnouts, 0 crossings, 2 ends of track; 2000 mm of track.\n"
        '  Layers read, with what is drawn on them: "TRACK" (1).\n'
        "  No heights: write those that you know under [railhead].\n"
        "  All of it could be read.\n"
        "\n"
        "The plan is [red]tarn.toml.\n"
    )


def test_faults_are_told_by_kind_the_worst_first_and_not_without_end():
    faults = [Fault("near-miss", f"misses by {n} mm", Spot(n / 1000, 0), weight=n) for n in range(1, 15)]
    text = page([*faults, Fault("kink", "the direction breaks by 9 degrees", Spot(1, 2))])
    assert text.index("  kink: 1\n    the direction breaks by 9 degrees, at (1000.0, 2000.0) mm\n") > 0
    assert "  near-miss: 14\n    misses by 14 mm, at (14.0, 0.0) mm\n    misses by 13 mm" in text
    assert "misses by 5 mm" in text
    assert "misses by 4 mm" not in text
    assert "    and 4 more\n" in text


def test_changes_are_listed_and_cut():
    changes = Changes(added=[f'line "{n}"' for n in range(30)], kept=['line "[/x]"'], heights=['"A" is new, 3 mm'])
    text = page(changes=changes, new=False)
    assert 'line "19" and 10 more' in text
    assert '  yours, and kept as they are, though drawn otherwise: line "[/x]"\n' in text
    assert '  heights: "A" is new, 3 mm\n' in text
