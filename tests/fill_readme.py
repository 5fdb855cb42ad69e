"""Run by hand after the terminal's answer changed: put what the commands shown in README print back into it."""

import os
import re
import subprocess
import sys
from pathlib import Path

README = Path(__file__).parent.parent / "README.md"
SHOWN = re.compile(r"```console\n\$ (faultnet [^\n]*)\n(.*?)```", flags=re.DOTALL)


def printed(command: str) -> str:
    """What a command prints on a terminal of 80 columns without colour."""
    done = subprocess.run(
        [sys.executable, "-m", *command.split()],
        capture_output=True,
        encoding="utf-8",
        timeout=60,
        check=True,
        env={**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8", "FAULTNET_SHOP": os.devnull},
    )
    return done.stdout.rstrip()


if __name__ == "__main__":
    text = README.read_text(encoding="utf-8")
    text = SHOWN.sub(lambda block: f"```console\n$ {block[1]}\n{printed(block[1])}\n```", text)
    README.write_text(text, encoding="utf-8")
