"""Answers for a whole layout: the main check, readings, berths, unusual figures."""
