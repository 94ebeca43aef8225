"""Stories: the user guesses a result before it is displayed."""
