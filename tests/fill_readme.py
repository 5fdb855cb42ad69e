"""Run by hand after the terminal's answer changed: put what the commands shown in README print back into it.

Commands of a console block run one after the other, in a shop of README's own whose clock stands still. Keys that are
pressed while they run stand in a comment above the block: `<!-- keys: 1 l -->`.
"""

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

README = Path(__file__).parent.parent / "README.md"
BLOCK = re.compile(r"(?:<!-- keys: (?P<keys>[^\n]*) -->\n)?```console\n(?P<shown>.*?)```", flags=re.DOTALL)
NOW = "2031-05-17T09:00:00+00:00"


def printed(command: str, keys: str, data: str) -> str:
    """What a command prints on a terminal of 80 columns without colour. keys: that are pressed, parted by blanks."""
    done = subprocess.run(
        [sys.executable, "-m", *shlex.split(command)],
        input="".join(f"{key}\n" for key in keys.split()),
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=True,
        env={
            **os.environ,
            "COLUMNS": "80",
            "PYTHONIOENCODING": "utf-8",
            "FAULTNET_SHOP": os.devnull,
            "FAULTNET_DATA": data,
            "FAULTNET_NOW": NOW,
            "TZ": "UTC",
        },
    )
    return done.stdout.rstrip()


def refilled(text: str) -> str:
    """A text with what its commands print in the place of what stood there."""
    with TemporaryDirectory() as data:

        def again(block: re.Match[str]) -> str:
            commands = re.findall(r"^\$ (faultnet [^\n]*)$", block["shown"], flags=re.MULTILINE)
            keys = block["keys"] or ""
            shown = "\n".join(f"$ {command}\n{printed(command, keys, data)}" for command in commands)
            above = f"<!-- keys: {keys} -->\n" if keys else ""
            return f"{above}```console\n{shown}\n```"

        return BLOCK.sub(again, text)


if __name__ == "__main__":
    README.write_text(refilled(README.read_text(encoding="utf-8")), encoding="utf-8")
