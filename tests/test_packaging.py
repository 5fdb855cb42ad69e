"""What is installed works as what is checked out."""

import subprocess
import sys
import zipfile
from pathlib import Path

ROOT = Path(__file__).parent.parent


def test_an_installed_wheel_finds_its_models(tmp_path: Path) -> None:
    build = [sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(tmp_path)]
    subprocess.run(build, cwd=ROOT, capture_output=True, timeout=120, check=True)
    (wheel,) = tmp_path.glob("*.whl")
    with zipfile.ZipFile(wheel) as packed:
        names = packed.namelist()
        packed.extractall(tmp_path / "installed")
    assert "faultnet/models/backlight.yaml" in names
    assert [name for name in names if name.startswith(("tests/", "notebooks/"))] == []
    code = "import faultnet; m = faultnet.load_model('backlight'); print(faultnet.__file__, m.id)"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path / "installed", capture_output=True, text=True, timeout=60, check=True
    )
    assert str(tmp_path / "installed") in done.stdout
    assert done.stdout.split()[-1] == "backlight"


def test_constraints_name_no_addresses() -> None:
    text = (ROOT / "constraints.txt").read_text(encoding="utf-8")
    assert "://" not in text
    assert " @ " not in text
