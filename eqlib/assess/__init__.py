"""Questions, variants, answers, marks and the misconceptions behind wrong answers."""
