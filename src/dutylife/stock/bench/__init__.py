"""The weeks ahead at the bench: machines arriving, labour hours, loaners."""

from dutylife.stock.bench.load import BenchLoad, bench_load

__all__ = ["BenchLoad", "bench_load"]
