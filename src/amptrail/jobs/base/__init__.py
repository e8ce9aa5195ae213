"""What every use case starts from: texts read once, what is kept, names of faults, figures, the job log."""
