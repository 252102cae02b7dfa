"""The words of a hint, kept apart from its numbers."""

from scheduler.agronomy.hints import Hint


def words(hint: Hint) -> str:
    """One or two sentences for a person, or nothing where the hint has nothing to say. Advice, never an order."""
    if hint.level == "none" or hint.value is None:
        return ""
    return f"{_SAY[hint.name, hint.level].format(value=hint.value, percent=100 * hint.value)} ({hint.source})"


_SAY = {
    ("dollar_spot", "act"): "Dollar spot: {percent:.0f} % chance after the last five days. "
    "Look for spots before you cut nitrogen: underfed turf gets more of it.",
    (
        "brown_patch",
        "act",
    ): "Brown patch: {value:.0f} warm, wet night(s) ahead. Go easy on quick nitrogen and water early.",
    ("brown_patch", "watch"): "Brown patch: {value:.0f} mild, wet night(s) ahead. Watch ryegrass and tall fescue.",
    ("growth_regulator", "act"): "Growth regulator: {value:.0f} degree days since the last one. Its effect is spent.",
    ("growth_regulator", "watch"): "Growth regulator: {value:.0f} degree days since the last one. It is wearing off.",
    (
        "snow_mould",
        "watch",
    ): "Snow mould: cool, wet days ahead. Soft late growth invites it; think twice about nitrogen.",
}
