"""How well faults can be told apart over a folder of sheets, on every core or a cluster."""
