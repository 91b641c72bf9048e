"""Customer packs: a page, a calendar and wall cards of one customer's machines, and no other's."""

from dutylife.reports.packs.chosen import check_chosen, chosen_customers, without_machines
from dutylife.reports.packs.listing import customer_packs
from dutylife.reports.packs.write import write_customer_packs

__all__ = [
    "check_chosen", "chosen_customers", "customer_packs", "without_machines",
    "write_customer_packs",
]  # fmt: skip
