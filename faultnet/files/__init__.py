"""Finding, opening and remembering model files."""

from faultnet.files.finder import find_model_file, list_models
from faultnet.files.load import load_model

__all__ = ["find_model_file", "list_models", "load_model"]
