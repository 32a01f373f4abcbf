"""The keys of the tables of a job file, a module for each; `pipeline.job.model` puts them together."""
