"""The whole plan: tests, repairs and giving up, by least expected cost."""

from faultnet.plan.make import make_plan
from faultnet.plan.result import Branch, Plan, PlanStep

__all__ = ["Branch", "Plan", "PlanStep", "make_plan"]
