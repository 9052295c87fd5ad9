"""Lightning impulses: one record to its parameters, and a sequence of them to findings (IEC 60060-1:2010, annex B)."""
