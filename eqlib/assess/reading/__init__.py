"""Reading what a student clicked, typed or computed: one grammar a file; nothing is evaluated."""
