"""The bench's answer as text, JSON, CSV and form."""

import csv
import io
import re

import pypdf
import pytest

from gradehaul.haulage.answers.readings import readings
from gradehaul.plan import load_plan, read_plan
from gradehaul.show import READINGS
from gradehaul.show.base.picture import drawing_rules
from gradehaul.show.base.unit_format import units_of
from gradehaul.show.bench import readings_csv, readings_page
from gradehaul.show.sheets import bench_figures, bench_sheet
from project import PLANS
from show.drawn import MARGIN

BENCH = PLANS / "bench.toml"
READER = units_of("mm", force_unit="gf")
BARE = 'scale = "HO"\nunit = "mm"\n[line.A]\nfrom = "B"\nto = "C"\ntrack = [{ straight = 900 }]\n'
ODD = (
    BARE
    + "".join(
        f'[loco."{name}"]\nmass = "300 g"\nlength = 200\n'
        f'[[reading]]\nloco = "{name}"\nforce = ["66 gf", "67 gf", "65 gf"]\n'
        for name in ("=1+1", "$x^2$ [red]", "a very long name " * 6)
    )
    + '[rail."$wet$"]\nmetal = { fresh = 0.7, settled = 0.8 }\ntyred = { fresh = 0.5, settled = 0.6 }\n'
)


@pytest.fixture(scope="module")
def answer():
    return readings(load_plan(BENCH))


@pytest.fixture(scope="module")
def form(answer):
    return bench_sheet(answer.plan, READER)


@pytest.fixture(scope="module")
def bare():
    return readings(read_plan(BARE))


@pytest.fixture(scope="module")
def odd():
    return readings(read_plan(ODD))


def test_a_pull_that_check_judges_otherwise_than_it_was_read_has_both():
    """Read at 6 h alone: 0.75 of the clean pull is less, and check has it."""
    loco = '[loco.goat]\nmass = "300 g"\nlength = 200\npull.clean = "80 gf"\n'
    film = '[[reading]]\nloco = "goat"\nrail = "treated"\nhours = {}\nforce = "64 gf"\n'
    late, early = (readings_page(readings(read_plan(BARE + loco + film.format(age))), READER).text() for age in (6, 1))
    assert "64.0 gf (1), 60.0 gf at 0 h" in late
    assert "At 0 h: just after the film goes on" in late
    assert "0 h" not in early


def test_the_page_shows_everything_once(answer):
    text = " ".join(readings_page(answer, READER, READINGS).text().split())
    for words in (
        "mikado clean 90.0 gf 88.0 to 92.0 gf 1.8 %",
        "corrected by",
        "borrowed",
        "Adhesion: pull per unit of weight",
        "Pulls not measured",
        "most of it back after",
        "old diesel on treated: in steps, since fewer than three ages were read",
        "boxcar rolls at 2.12 ± 0.03 %, starts at 2.93 ± 0.10 % of its weight",
        "Curve coefficient 7.59 mm",
        "agrees: mikado, 10 boxcar on Up, clean: climbs, so the pull is at least",
        "readings of old diesel on clean rail: 95 gf is far from the others",
        "Measure next",
        "Keep fingers clear",
    ):
        assert text.count(words) == 1, words


def test_a_plan_without_readings_is_shown_how_to_begin(bare):
    text = readings_page(bare, READER).text()
    assert "No pull was read: write [[reading]]" in text
    assert "Adhesion" not in text
    assert "Trials" not in text


def test_what_cannot_be_separated_is_said_in_words(odd):
    text = readings_page(odd, READER, READINGS).text()
    assert "no locomotive with traction tires was measured" in text
    assert "not known" in text
    assert "$x^2$ [red]" in text


def test_the_document(answer, bare):
    document = answer.to_dict()
    first = document["pulls"][0]
    assert first["pull_n"] == pytest.approx(90 * 9.80665e-3, rel=1e-5)
    assert first["low_n"] < first["pull_n"] < first["high_n"]
    assert (first["readings"], first["scatter_borrowed"], first["outliers_n"]) == (5, False, [])
    assert [fit["rail"] for fit in document["adhesion"]] == ["clean", "treated", "treated fresh"]
    assert {film["form"] for film in document["films"]} == {"exponential", "stepwise"}
    assert document["cars"][0]["rolling"]["share"] == pytest.approx(0.0212, rel=1e-2)
    assert [trial["agrees"] for trial in document["trials"]] == [True, True]
    assert document["measure_next"] == list(answer.measure_next)
    assert bare.to_dict()["pulls"] == []
    assert bare.to_dict()["curve"] is None


def test_a_row_for_every_pull(answer, odd, bare):
    table = list(csv.DictReader(io.StringIO(readings_csv(answer, None), newline="")))
    assert [row["basis"] for row in table].count("measured") == len(answer.bench.rows)
    assert [row["loco"] for row in table if row["basis"] == "predicted"] == [shown.loco for shown in answer.predictions]
    assert all(float(row["low_n"]) <= float(row["pull_n"]) <= float(row["high_n"]) for row in table)
    assert next(csv.DictReader(io.StringIO(readings_csv(odd, None), newline="")))["loco"] == "'=1+1"
    assert readings_csv(bare, None) == "loco,rail,state,basis,readings,pull_n,low_n,high_n,scatter_n,error_n\r\n"


def texts(figure):
    return [text.get_text() for text in figure.texts]


def test_the_form_has_a_row_for_every_locomotive_rail_and_state(answer, form):
    with drawing_rules():
        pages = bench_figures(answer.plan, READER)
    words = [text for page in pages for text in texts(page)]
    for name in answer.plan.locos:
        assert words.count(name) == 6  # clean, fresh and settled; standing and slipping
    for shown in ("Take care", "How to measure pulls", "How to measure cars and curves", "Pulls, in gf"):
        assert shown in words
    assert any("does not come off" in text for text in words)
    assert any("a dry rag does not lift it" in text for text in words)
    last = pypdf.PdfReader(io.BytesIO(form)).pages[-1].extract_text()
    assert f"page {len(pages)} of {len(pages)}" in last


@pytest.mark.parametrize(
    ("unit", "paper", "size"),
    [("mm", None, (8.27, 11.69)), ("in", None, (8.5, 11)), ("mm", "letter", (8.5, 11)), ("in", "a4", (8.27, 11.69))],
)
def test_nothing_on_the_form_runs_over_its_edge(answer, odd, unit, paper, size):
    from matplotlib.backends.backend_agg import FigureCanvasAgg

    with drawing_rules():
        for plan in (read_plan(BARE), *((answer.plan, odd.plan) if paper is None else ())):
            for page in bench_figures(plan, units_of(unit), paper):
                assert page.get_size_inches() == pytest.approx(size, abs=0.01)
                renderer = FigureCanvasAgg(page).get_renderer()
                for text in page.texts:
                    box = text.get_window_extent(renderer)
                    assert box.x0 >= MARGIN * page.dpi
                    assert box.x1 <= (size[0] - MARGIN) * page.dpi, text.get_text()
                    assert box.y0 >= MARGIN * page.dpi


def test_the_form_is_a_pdf(form):
    assert form.startswith(b"%PDF")
    assert len(re.findall(rb"/Type /Page\b", form)) == 2
