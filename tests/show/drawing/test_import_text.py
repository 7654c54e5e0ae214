"""What is said of a drawing: counted, cut where there is much of it, and never read as markup."""

from __future__ import annotations

import re

from gradehaul.plan.drawing.records import Fault, Spot
from gradehaul.plan.drawing.wording import KINDS
from gradehaul.plan.edit.importing import Imported
from gradehaul.plan.edit.writer import Changes
from gradehaul.show.drawing.import_text import import_page
from plan.drawing.hand_made import assembled, straight
from project import ROOT


def page(faults=(), changes=None, *, new=True, strokes=None, more=()):
    from dataclasses import replace

    drawn = replace(assembled(strokes or [straight(0, 0, 2, 0)]), faults=tuple(faults))
    return import_page(Imported(drawn, "", "mm", changes or Changes(), new, None, ()), "[red]tarn.toml", more).text()


def test_a_drawing_without_faults_and_heights():
    assert page() == (
        "tarn.dxf: imported into [red]tarn.toml, 0 bytes\n"
        "\n"
        "Found 1 line, 1 track, 0 turnouts, 0 crossings, 2 ends of track; 2000 mm of\n"
        "  track.\n"
        'Read: track on layer "TRACK".\n'
        "No heights: write those that you know under [railhead].\n"
        "All of it could be read.\n"
        "\n"
        "More: --more faults, changes, layers, all\n"
    )
    assert '"TRACK"      1\n' in page(more=["layers"])


def test_faults_are_counted_by_kind_the_worst_first_and_shown_one_by_one_where_wanted():
    faults = [Fault("near-miss", f"misses by {n} mm", Spot(n / 1000, 0), weight=n) for n in range(1, 15)]
    faults.append(Fault("kink", "the direction breaks by 9 degrees", Spot(1, 2)))
    text = page(faults)
    assert "the direction breaks by 9 degrees, at (1000.0, 2000.0) mm" in " ".join(text.split())
    assert "Ends that nearly meet (14)  misses by 14 mm, at (14.0, 0.0) mm\n" in text
    assert "misses by 13 mm" not in text
    text = page(faults, more=["faults"])
    assert "  Ends that nearly meet (14)\n    misses by 14 mm, at (14.0, 0.0) mm\n    misses by 13 mm" in text


def test_every_kind_of_fault_has_a_name():
    sources = [path.read_text("utf-8") for path in (ROOT / "src" / "gradehaul" / "plan" / "drawing").rglob("*.py")]
    codes = {code for text in sources for code in re.findall(r'\b(?:Fault|_fault)\(\s*"([a-z-]+)"', text)}
    assert len(codes) > 25
    assert codes <= set(KINDS)


def test_what_may_be_a_flat_helix_comes_first():
    text = page([Fault("flat-helix", "may be a helix drawn flat", Spot(1, 2))])
    assert text.startswith("may be a helix drawn flat, at (1000.0, 2000.0) mm\ntarn.dxf: imported")


def test_numbers_that_may_be_heights_and_heights_that_differ_come_first():
    changes = Changes(contrary=['"Alp" stays at 70 mm'])
    text = page([Fault("numbers", "3 texts look like heights")], changes=changes, new=False)
    assert text.startswith('3 texts look like heights\n"Alp" stays at 70 mm\ntarn.dxf: imported')


def test_changes_are_counted_and_named():
    changes = Changes(added=[f'line "{n}"' for n in range(30)], kept=['line "[/x]"'], heights=['"A" is new, 3 mm'])
    text = page(changes=changes, new=False)
    assert 'line "5" and 24 more' in text
    assert re.search(r'yours, kept, though drawn otherwise +1  line "\[/x\]"\n', text)
    assert re.search(r'heights +1  "A" is new, 3 mm\n', text)
    assert 'line "29"' in page(changes=changes, new=False, more=["changes"])
