"""Reports of studies and fleets: tables for a paper, pictures, pages."""
