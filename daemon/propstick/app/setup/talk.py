"""Asking and answering in lines: on a terminal, or with the answers piped in."""

from __future__ import annotations

from collections.abc import Callable
from typing import TextIO, TypeVar

from propstick.errors import InputError, TurnBack

T = TypeVar("T")
BACK = "back"
QUIT = frozenset({"quit", "exit"})


def answers_ended(question: str) -> InputError:
    """The error for an evening that is broken off at a question."""
    return InputError(
        f"setup: the answers ended at {question.splitlines()[0]!r}",
        hint="propstick setup goes on from there",
    )


class Talk:
    """A conversation on two streams.

    Args:
        lines: Where answers come from, one a line.
        out: Where questions go.
    """

    def __init__(self, lines: TextIO, out: TextIO) -> None:
        self._lines = lines
        self._out = out
        self.is_terminal = lines.isatty() and out.isatty()

    def say(self, text: str) -> None:
        """One line, or several; nothing for an empty text."""
        if text:
            print(text, file=self._out, flush=True)

    def ask(
        self, question: str, read: Callable[[str], T], *, default: str | None = None, is_secret: bool = False
    ) -> T:
        """Asks until the answer can be read.

        Args:
            question: One line or several; `[default]` is added where there is one.
            read: Makes the answer of what was typed; raises `InputError` for what it cannot take.
            default: What an empty line means; None: there must be an answer.
            is_secret: Whether a piped answer is not to be shown.

        Raises:
            TurnBack: the person typed `back`.
            InputError: no more lines, or `quit`; or, where nobody can be asked again, an answer
                that cannot be read.
        """
        while True:
            print(question + (f" [{default}]" if default else ""), end=" > ", file=self._out, flush=True)
            line = self._lines.readline()
            if not line:
                print(file=self._out)
                raise answers_ended(question)
            typed = line.strip()
            if not self.is_terminal:
                # Piped answers do not echo: what was asked would run into one line.
                print("***" if is_secret and typed else typed, file=self._out)
            if typed.lower() == BACK:
                raise TurnBack("the question before")
            if typed.lower() in QUIT:
                raise answers_ended(question)
            if not typed and default is None:
                continue
            try:
                return read(typed or default or "")
            except InputError as error:
                if not self.is_terminal:
                    raise
                self.say(str(error))
