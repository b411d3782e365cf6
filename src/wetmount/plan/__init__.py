"""The plan across a mixture: options compared, what is chosen and why, and the papers for keeper and laboratory."""

from wetmount.plan.choose import ChosenPlan, choose
from wetmount.plan.options import Option, Plan, TankFacts, plan_for

__all__ = ["ChosenPlan", "Option", "Plan", "TankFacts", "choose", "plan_for"]
