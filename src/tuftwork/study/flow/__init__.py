"""The 3-D flow as a job of the study: cases, runs, the page, and runs as sightings."""
