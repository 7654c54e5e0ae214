"""Make everything that README and the handbook show again: ``python tests/handbook``."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # what tests in all folders share

from shown_pages import PAGES, ROOT, remade


def main() -> None:
    """Write each page again, with its pictures, where something has changed."""
    for page in PAGES:
        made = remade(page)
        files = {page: made.text.encode(), **{ROOT / name: picture for name, picture in made.pictures.items()}}
        for file, content in files.items():
            if not file.exists() or file.read_bytes() != content:
                file.write_bytes(content)
                print(f"{file.relative_to(ROOT)} is new")


if __name__ == "__main__":
    main()
