"""README and the handbook are what the tool makes today, and every link in them leads somewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from shown_pages import PAGES, ROOT, remade

HANDBOOK = ROOT / "docs"
DOCS = [page for page in PAGES if page.parent == HANDBOOK]
FILM = re.compile(r"\bfilm")
FIRST = re.compile(r"spare[\s>]+length[\s>]+of[\s>]+track", re.IGNORECASE)


@pytest.mark.parametrize("file", PAGES, ids=lambda file: file.name)
def test_page_and_its_pictures_are_what_the_tool_makes(file: Path) -> None:
    made = remade(file)
    text = file.read_text(encoding="utf-8")
    assert made.text == text, "python tests/handbook makes it again"
    for name, content in made.pictures.items():
        assert f"]({Path(name).relative_to('docs') if file in DOCS else name})" in text
        labels, told, numbers = drawing(content.decode())
        kept_labels, kept_told, kept_numbers = drawing((ROOT / name).read_text(encoding="utf-8"))
        assert len(labels) > 20
        assert labels == kept_labels, "python tests/handbook makes it again"
        assert told == kept_told
        assert numbers == pytest.approx(kept_numbers, abs=0.5)  # points: letters are measured otherwise elsewhere


NUMBER = re.compile(r"-?\d+\.\d+|(?<![\w.])-?\d+(?![\w.])")


def drawing(svg: str) -> tuple[list[str], str, list[float]]:
    """The labels of a picture, its text without metadata and the names of parts, and the numbers in that."""
    labels = re.findall(r"<text [^>]*>(.*?)</text>", svg)
    svg = re.sub(r"<metadata>.*?</metadata>", "", svg, flags=re.DOTALL)
    svg = re.sub(r"(?<=[#\"])[a-z][0-9a-f]{10}\b", "part", svg)
    return labels, NUMBER.sub("0", svg), [float(number) for number in NUMBER.findall(svg)]


def test_every_picture_is_made_by_a_page() -> None:
    made = {name for file in PAGES for name in re.findall(r"<!-- picture: .*? -o (\S+) -->", file.read_text())}
    there = {f"docs/{picture.name}" for picture in HANDBOOK.iterdir() if picture.suffix in (".svg", ".png")}
    assert made | {"docs/live.png"} == there  # a browser takes that one: tests/handbook/live_picture.py
    assert all((ROOT / name).stat().st_size < 150_000 for name in there)


def test_every_block_of_the_handbook_is_run_or_read() -> None:
    for file in DOCS:
        kinds = re.findall(r"^```(\w*)\n", re.sub(r"^```\n", "", file.read_text(), flags=re.MULTILINE), re.MULTILINE)
        assert set(kinds) <= {"console", "sh", "toml", "text", "python", "csv"}, file.name
        plain = re.findall(
            r"([^\n]*)\n```text\n", re.sub(r"<!-- generated.*?<!-- end -->", "", file.read_text(), flags=re.DOTALL)
        )
        assert all(before.startswith(("<!-- output: ", "<!-- file: ")) for before in plain), file.name


@pytest.mark.parametrize("file", DOCS, ids=lambda file: file.name)
def test_a_page_about_the_film_begins_with_the_spare_length_of_track(file: Path) -> None:
    """Of all that a page says to do with a film, trying it on a spare length of track stands first."""
    text = re.sub(r"<!-- generated.*?<!-- end -->", "", file.read_text(encoding="utf-8"), flags=re.DOTALL)
    if FILM.search(text):
        first = FIRST.search(text)
        assert first, "try it on a spare length of track and measure, before the layout"
        quoted = text.index("\n> ")  # the advice stands in a box of its own, before the first section
        assert quoted < first.start() < f"{text}\n## ".index("\n## ")


@pytest.mark.parametrize("file", PAGES, ids=lambda file: file.name)
def test_a_load_in_prose_stands_on_a_screen_of_the_page(file: Path) -> None:
    text = file.read_text(encoding="utf-8")
    screens = " ".join(" ".join(re.findall(r"^```\w*\n.*?^```$", text, re.DOTALL | re.MULTILINE)).split())
    prose = re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE)
    for load in re.findall(r"`(\d+\s+(?:\([^`]*|berth))`", prose):
        assert " ".join(load.split()) in screens


LINK = re.compile(r"!?\[[^\]]*\]\(([^)\s]+)\)")


def outside_blocks(text: str) -> str:
    return re.sub(r"`[^`\n]*`", "", re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE))


def anchors(text: str) -> set[str]:
    heads = re.findall(r"^#+ (.*)$", re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE), re.MULTILINE)
    return {re.sub(r"[^\w\s-]", "", head.lower()).strip().replace(" ", "-") for head in heads}


@pytest.mark.parametrize("file", PAGES, ids=lambda file: file.name)
def test_links_lead_somewhere(file: Path) -> None:
    for link in LINK.findall(outside_blocks(file.read_text(encoding="utf-8"))):
        if re.match(r"\w+:", link):
            continue
        path, _, anchor = link.partition("#")
        target = file.parent / path if path else file
        assert target.exists(), link
        if file in DOCS:
            assert target.resolve().is_relative_to(HANDBOOK), f"{link} leads out of the site"
        if anchor:
            assert anchor in anchors(target.read_text(encoding="utf-8")), link


def test_every_page_is_reached() -> None:
    index = (HANDBOOK / "index.md").read_text(encoding="utf-8")
    assert {file.name for file in DOCS} - {"index.md"} <= set(LINK.findall(index))
    assert "docs/index.md" in LINK.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    site = (ROOT / ".mkdocs.yml").read_text(encoding="utf-8")
    assert {file.name for file in DOCS} == set(re.findall(r"[\w-]+\.md", site))
