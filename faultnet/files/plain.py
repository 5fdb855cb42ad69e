"""Small files of plain data in YAML, such as what the columns of a table are."""

import io
from pathlib import Path
from typing import Any

from faultnet.errors import FileProblem, ModelProblem
from faultnet.files.yaml_text import read_yaml


def read_plain(file: Path) -> Any:
    """The data in a file. FileProblem: it cannot be read; ModelProblem: it is no YAML, and where."""
    try:
        text = read_yaml(file.read_bytes())
    except OSError as error:
        raise FileProblem(f"{file}: cannot be read: {error.strerror or error}") from None
    if text.problems:
        raise ModelProblem(str(file), text.problems)
    return text.data


def plain_text(data: Any) -> str:
    """Data as YAML."""
    from ruamel.yaml import YAML

    yaml, stream = YAML(typ="safe", pure=True), io.StringIO()
    yaml.default_flow_style = False
    yaml.sort_base_mapping_type_on_output = False  # type: ignore[assignment]
    yaml.dump(data, stream)
    return stream.getvalue()
