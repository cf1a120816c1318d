"""Several forms of equal difficulty from one bank, as a mixed-integer programme; or in words why there are none.

blueprint  items, what a form must look like, which items are out of the question
rules      the blueprint as linear rules over items
supply     shortages that plain arithmetic shows before any solver is asked
model      the rules for all forms at once, as one sparse matrix
solve      forms, and a report on how parallel they are
conflict   what would have to give, by how much, when nothing fits
"""

from app.measure.forms.blueprint import Blueprint, Item, Seen
from app.measure.forms.conflict import Relaxation, conflicting_groups, explain_infeasible
from app.measure.forms.model import Model, Row, build
from app.measure.forms.solve import Forms, Infeasible, ParallelReport, parallel_report, solve
from app.measure.forms.supply import Shortage, supply_check

__all__ = [
    "Blueprint",
    "Forms",
    "Infeasible",
    "Item",
    "Model",
    "ParallelReport",
    "Relaxation",
    "Row",
    "Seen",
    "Shortage",
    "build",
    "conflicting_groups",
    "explain_infeasible",
    "parallel_report",
    "solve",
    "supply_check",
]
