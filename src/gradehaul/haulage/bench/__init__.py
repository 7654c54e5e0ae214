"""The bench: what a spring balance, a tilted board and trains that ran say of locomotives, films, cars and curves."""
