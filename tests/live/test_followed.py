"""Which files a live page looks at for changes."""

from __future__ import annotations

from pathlib import Path

from gradehaul.live.plan_files import Followed
from project import PLANS


def test_words_of_any_length_are_no_file_and_names_with_an_apostrophe_are(tmp_path: Path):
    hill = (PLANS / "first-hill.toml").read_text(encoding="utf-8")
    plan, stock = tmp_path / "hill.toml", tmp_path / "Hill's stock.toml"
    title = "up and down " * 40  # longer than the name of a file may be
    plan.write_text(f'include = ["{stock.name}"]\n{hill.replace("First hill", title)}', encoding="utf-8")
    stock.write_text('car.extra = { length = "6 in" }\n', encoding="utf-8")
    followed = Followed(plan, plan.name)
    assert followed.read().faults == ()
    before = followed.stamp()
    stock.write_text('car.extra = { length = "7.5 in" }\n', encoding="utf-8")
    assert followed.stamp() != before
