"""What still fits and what to test next: suspects, the panel of tests, visits, intake, demands of proof."""
