"""Past jobs as rows of a table: one row a job, one column for each observation of its model."""
