"""What goes wrong with a user's input, as a sentence they can act on."""

from __future__ import annotations


class InputError(ValueError):
    """Input that cannot be used. The message is one sentence: what was wrong and what is accepted.

    `file` and `field` say where, when that is known; `str(error)` puts them in front.
    """

    def __init__(self, message: str, *, file: str | None = None, field: str | None = None) -> None:
        self.message = message
        self.file = file
        self.field = field
        super().__init__(": ".join(part for part in (file, field, message) if part))
