"""faultnet: fault probabilities and the next test for a set on the bench.

>>> from faultnet import Case, diagnose, load_model, parse_events
>>> model = load_model("backlight")
>>> diagnose(model, Case(parse_events(model, ["sound=present", "flashlight=image_seen"]))).leading
'strips'
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

from faultnet.version import __version__ as __version__

if TYPE_CHECKING:
    from faultnet.analysis.calibration import Calibration, calibration
    from faultnet.analysis.comebacks import Comebacks, comebacks
    from faultnet.analysis.in_service import InService, read_in_service
    from faultnet.analysis.rates import Rates, rates
    from faultnet.case import Case, parse_events
    from faultnet.counting import count_patterns
    from faultnet.diagnosis import Diagnosis, diagnose
    from faultnet.estimator import FaultClassifier
    from faultnet.files import list_models, load_model
    from faultnet.learning.learn import Learned, learn
    from faultnet.model import BenchState, Model
    from faultnet.model.pooled import in_group
    from faultnet.plan import Plan, make_plan
    from faultnet.ranking import Ranking, rank_tests
    from faultnet.readings import Nominal
    from faultnet.repairs import rank_repairs
    from faultnet.settings import ShopSettings

_HOMES = {
    "BenchState": "faultnet.model",
    "Calibration": "faultnet.analysis.calibration",
    "Case": "faultnet.case",
    "Comebacks": "faultnet.analysis.comebacks",
    "Diagnosis": "faultnet.diagnosis",
    "FaultClassifier": "faultnet.estimator",
    "InService": "faultnet.analysis.in_service",
    "Learned": "faultnet.learning.learn",
    "Model": "faultnet.model",
    "Nominal": "faultnet.readings",
    "Plan": "faultnet.plan",
    "Ranking": "faultnet.ranking",
    "Rates": "faultnet.analysis.rates",
    "ShopSettings": "faultnet.settings",
    "calibration": "faultnet.analysis.calibration",
    "comebacks": "faultnet.analysis.comebacks",
    "count_patterns": "faultnet.counting",
    "diagnose": "faultnet.diagnosis",
    "in_group": "faultnet.model.pooled",
    "learn": "faultnet.learning.learn",
    "list_models": "faultnet.files",
    "load_model": "faultnet.files",
    "make_plan": "faultnet.plan",
    "parse_events": "faultnet.case",
    "rank_repairs": "faultnet.repairs",
    "rank_tests": "faultnet.ranking",
    "rates": "faultnet.analysis.rates",
    "read_in_service": "faultnet.analysis.in_service",
}
__all__ = [
    "BenchState",
    "Calibration",
    "Case",
    "Comebacks",
    "Diagnosis",
    "FaultClassifier",
    "InService",
    "Learned",
    "Model",
    "Nominal",
    "Plan",
    "Ranking",
    "Rates",
    "ShopSettings",
    "calibration",
    "comebacks",
    "count_patterns",
    "diagnose",
    "in_group",
    "learn",
    "list_models",
    "load_model",
    "make_plan",
    "parse_events",
    "rank_repairs",
    "rank_tests",
    "rates",
    "read_in_service",
]


def __getattr__(name: str) -> Any:
    """Public names are imported on first use, so that `faultnet model list` does not pay for inference."""
    if name in _HOMES:
        return getattr(import_module(_HOMES[name]), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
