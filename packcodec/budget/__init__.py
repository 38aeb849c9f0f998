"""A day's messages against a link: sizes, a verdict a rule, the battery, what would make it fit."""

from packcodec.budget.allowance import Allowance as Allowance
from packcodec.budget.allowance import allowance as allowance
from packcodec.budget.best import Best as Best
from packcodec.budget.best import best_plan as best_plan
from packcodec.budget.compare import compare_links as compare_links
from packcodec.budget.edges import Edges as Edges
from packcodec.budget.edges import block_edges as block_edges
from packcodec.budget.edges import edges_within as edges_within
from packcodec.budget.messages import MessagePlan as MessagePlan
from packcodec.budget.plan import Budget as Budget
from packcodec.budget.plan import Energy as Energy
from packcodec.budget.plan import Supply as Supply
from packcodec.budget.plan import plan_budget as plan_budget
from packcodec.budget.remedies import Remedy as Remedy
from packcodec.budget.remedies import remedies as remedies
from packcodec.budget.season import Season as Season
from packcodec.budget.season import plan_season as plan_season
from packcodec.budget.sharing import Sharing as Sharing
from packcodec.budget.sharing import share_channel as share_channel
from packcodec.budget.traffic import Expected as Expected
from packcodec.budget.traffic import Logged as Logged
from packcodec.budget.traffic import Random as Random
from packcodec.budget.traffic import Regular as Regular
from packcodec.budget.traffic import Sent as Sent
from packcodec.budget.verdict import Use as Use
from packcodec.budget.verdict import Verdict as Verdict
