def kept_scenarios(records, season):
    return {}
