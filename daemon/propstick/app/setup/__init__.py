"""The first evening: questions, what is understood of the answers, and the files that come of it."""
