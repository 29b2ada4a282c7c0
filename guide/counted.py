"""Counts as people say them."""


def counted(count: int, what: str, many: str = "") -> str:
    """``1 visit``, ``2 visits``; ``many`` where the plural isn't the word with an s."""
    return f"{count} {what}" if count == 1 else f"{count} {many or f'{what}s'}"
