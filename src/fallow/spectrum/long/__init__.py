"""Long surveys: histograms per bin, percentiles and occupancy."""
