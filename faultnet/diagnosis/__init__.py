"""What is wrong with this set, how sure is that, and why."""

from faultnet.diagnosis.diagnose import diagnose
from faultnet.diagnosis.result import Diagnosis, Explanation, Fault, Surprise, Turn, Weight

__all__ = ["Diagnosis", "Explanation", "Fault", "Surprise", "Turn", "Weight", "diagnose"]
