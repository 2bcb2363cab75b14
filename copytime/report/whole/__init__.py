"""A report on a part of the logbook: plain blocks made of what the analysis found, written as Markdown, HTML or CSV."""
