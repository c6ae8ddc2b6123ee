"""What people look at: numbers first as plain values, then figures and pages."""
