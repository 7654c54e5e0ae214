"""What every answer is shown with: pages, sheets, pictures, units and labels."""
