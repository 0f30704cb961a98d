"""The commissioning sheet: the tests in order, and what each should read in this job."""

from specc.documents.commissioning.sheet import commissioning, commissioning_table

__all__ = ["commissioning", "commissioning_table"]
