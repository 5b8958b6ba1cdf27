"""Invented studies for the tests are those of the documents."""

from studies.invented import GAPS_MM as GAPS_MM
from studies.invented import PEOPLE as PEOPLE
from studies.invented import drawn_gap as drawn_gap
from studies.invented import fill as fill
from studies.invented import invented_plan as invented_plan
from studies.invented import invented_result as invented_result
from studies.invented import plan_into as plan_into
