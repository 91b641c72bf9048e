"""Tables of a run to pages, workbook and calendar. The only folder that draws."""

from dutylife.reports.calendar import write_calendar
from dutylife.reports.evidence.data_slip import write_data_slip
from dutylife.reports.evidence.lives_page import write_lives_page
from dutylife.reports.evidence.one_component import one_component
from dutylife.reports.evidence.one_life import one_life
from dutylife.reports.failed import FailedSection
from dutylife.reports.layout import Section, own_section
from dutylife.reports.maintenance.wall_cards import write_wall_cards
from dutylife.reports.other_files import write_other_files
from dutylife.reports.packs import check_chosen, without_machines, write_customer_packs
from dutylife.reports.packs.left_out import left_out_of_pages
from dutylife.reports.pages import write_own_page, write_pages
from dutylife.reports.printing import print_pages
from dutylife.reports.proofs.backtest_page import backtest_answer, write_backtest_page
from dutylife.reports.proofs.prove_demand_page import write_prove_demand_page
from dutylife.reports.proofs.prove_lives_page import write_prove_lives_page
from dutylife.reports.proofs.prove_models_page import write_prove_models_page
from dutylife.reports.proofs.prove_money_page import write_prove_money_page
from dutylife.reports.proofs.prove_page import write_prove_page
from dutylife.reports.sections import SECTIONS, answers, plot, section
from dutylife.reports.sheet import machine_sheet, write_sheet
from dutylife.reports.stock.moved import moved_answers
from dutylife.reports.what_if_panel import what_if_panel
from dutylife.reports.workbook import write_order_list

__all__ = [
    "SECTIONS", "FailedSection", "Section", "answers", "backtest_answer", "check_chosen",
    "left_out_of_pages", "machine_sheet", "moved_answers", "one_component", "one_life",
    "own_section", "plot", "print_pages", "section", "what_if_panel", "without_machines",
    "write_backtest_page", "write_calendar", "write_customer_packs", "write_data_slip",
    "write_lives_page", "write_order_list", "write_other_files", "write_own_page", "write_pages",
    "write_prove_demand_page", "write_prove_lives_page", "write_prove_models_page",
    "write_prove_money_page", "write_prove_page", "write_sheet", "write_wall_cards",
]  # fmt: skip
