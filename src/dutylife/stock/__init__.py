"""Lives in service, laws and the plan in force to demand, levels and orders."""
