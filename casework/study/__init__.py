"""Studies: many teeth, every method, one table. See ``casework.study.study.run_study``."""
