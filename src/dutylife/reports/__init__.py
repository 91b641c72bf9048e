"""Tables of a run to pages, workbook and calendar. The only folder that draws."""

from dutylife.reports.backtest_page import backtest_answer, write_backtest_page
from dutylife.reports.calendar import write_calendar
from dutylife.reports.layout import Section
from dutylife.reports.moved import moved_answers
from dutylife.reports.pages import write_pages
from dutylife.reports.prove_lives_page import write_prove_lives_page
from dutylife.reports.prove_models_page import write_prove_models_page
from dutylife.reports.prove_money_page import write_prove_money_page
from dutylife.reports.prove_page import write_prove_page
from dutylife.reports.sections import SECTIONS, answers, plot, section
from dutylife.reports.wall_cards import write_wall_cards
from dutylife.reports.what_if_panel import what_if_panel
from dutylife.reports.workbook import write_order_list

__all__ = [
    "SECTIONS", "Section", "answers", "backtest_answer", "moved_answers", "plot", "section",
    "what_if_panel",
    "write_backtest_page", "write_calendar", "write_order_list", "write_pages",
    "write_prove_lives_page", "write_prove_models_page", "write_prove_money_page",
    "write_prove_page", "write_wall_cards",
]  # fmt: skip
