"""Lives to life laws: curves, fits, draws. The only folder that knows lifelines."""
