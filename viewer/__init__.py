"""What a person sees or types: scene, pictures, report, sheets, page, command line."""
