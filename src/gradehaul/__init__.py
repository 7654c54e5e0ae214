"""gradehaul: what each hill asks of each train, and what each locomotive gives on clean and on filmed rail."""
