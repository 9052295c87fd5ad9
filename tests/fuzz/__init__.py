"""Long searches for files that hurt, guided by coverage; run by hand, see docs/fuzzing.md."""
