"""Papers of a job: facts gathered, set as text, PDF or HTML."""
