"""What a student clicks and sees: lessons, panels and figures."""
