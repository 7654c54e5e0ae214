"""The cautions that stand on every sheet for the saw and the bench."""

from __future__ import annotations

CAUTIONS = (
    "Saws: follow the maker's manual; eye and ear protection, a stop block for repeated cuts, no loose sleeves.",
    "Decks bear only as they are built: brace tall risers, follow local codes, ask a qualified person about structure.",
    "Drops: put edging at least as high as the axles along every open side, before the first train runs.",
    "Children: keep them away from saws, open drops and decks that are not fastened yet.",
    "Before you drill or cut: switch off, and look for mains, track power and wiring under the deck.",
)
"""Usual cautions of the trade; manuals, local codes and licensed practice go before them."""
