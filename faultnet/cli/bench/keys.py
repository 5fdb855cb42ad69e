"""Asking for one key, or one line: at a terminal, and with input piped in."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager


class Left(Exception):
    """The person left the loop; everything entered is kept."""


def ask_key(prompt: str) -> str:
    """One key at a terminal, without Enter; elsewhere one line. Left: the input ended, or Ctrl-C."""
    if not sys.stdin.isatty():
        print(prompt, end="", flush=True)
        return _line(echo=True)
    with _single_keys():
        print(prompt, end="", flush=True)
        pressed = _read_key()
    if pressed in ("\x03", "\x04", ""):
        print()
        raise Left
    shown = pressed if pressed.isprintable() else ""
    print(shown, flush=True)
    return pressed.strip()


def ask_line(prompt: str) -> str:
    """One line, without blanks at its ends. Left: the input ended, or Ctrl-C."""
    print(prompt, end="", flush=True)
    return _line(echo=not sys.stdin.isatty())


def _line(*, echo: bool) -> str:
    try:
        line = sys.stdin.readline()
    except KeyboardInterrupt:
        print()
        raise Left from None
    if not line:
        print()
        raise Left
    text = line.strip()
    if echo:
        print(text, flush=True)
    return text


def _read_key() -> str:
    if sys.platform == "win32":
        import msvcrt

        return msvcrt.getwch()
    pressed = os.read(sys.stdin.fileno(), 1)
    while pressed:
        try:
            return pressed.decode()
        except UnicodeDecodeError:
            pressed += os.read(sys.stdin.fileno(), 1)
    return ""


@contextmanager
def _single_keys() -> Iterator[None]:
    """Keys come one by one, unseen, until this ends; the terminal is then as it was."""
    if sys.platform == "win32":
        yield
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        no_signals = termios.tcgetattr(descriptor)
        no_signals[3] &= ~termios.ISIG  # Ctrl-C is read as a key, so that leaving is orderly
        termios.tcsetattr(descriptor, termios.TCSADRAIN, no_signals)
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
