"""What the builder wrote, as a message shows it."""

from __future__ import annotations


def quoted(text: str) -> str:
    """Return text in quotes on one line, cut short, with nothing in it that a terminal would obey."""
    visible = "".join(character if character.isprintable() else "\N{REPLACEMENT CHARACTER}" for character in text[:61])
    if len(visible) > 60:  # a message stays readable
        visible = f"{visible[:57]}..."
    return f"'{visible}'" if '"' in visible else f'"{visible}"'


def shown(value: object) -> str:
    """Return any value of a plan as a message shows it."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int):
        return str(value) if value.bit_length() <= 64 else "a number of very many digits"
    if isinstance(value, float):
        return f"{value:.12g}"
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, (list, tuple)):
        return "a list"
    return "a table" if isinstance(value, dict) else "nothing" if value is None else f"a {type(value).__name__}"
