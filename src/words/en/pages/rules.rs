//! How places are worked out, on a competition's page.

area! { ($) rules:
    rule_place: "In a workout your place is one more than the number of athletes of your division who did better. Equal results share a place, and the places they take up are skipped: two in 3rd place are followed by 5th.",
    rule_level: "A result at a lower level stands below every result at a higher one.",
    rule_attested: "A score counts once a judge has vouched for it. A score being checked keeps its place until the referee rules; a withheld one has no place until then.",
    rule_points_places: "Overall, your places in the workouts are added up. The lowest sum stands first.",
    rule_points_table: "Overall, each place earns points: {table}. The highest sum stands first.",
    rule_table_last: "places after that earn the last number",
    rule_table_zero: "places after that earn nothing",
    rule_weight: "{workout} counts {weight} times.",
    rule_missing_after_last: "A workout without a placed score counts as one place after the last.",
    rule_missing_below: "Athletes who have fewer placed scores stand below those who have more.",
    rule_missing_unplaced: "An athlete who misses a workout has no standing.",
    rule_drop: "The worst {n} of your results are left out.",
    rule_drop_one: "Your worst result is left out.",
    rule_ties_countback: "With equal sums, the best single place decides; if that is equal too, the second best, and so on.",
    rule_ties_shared: "With equal sums the standing is shared.",
    rule_last_workout: "If all of that is equal, the better place in the last workout decides, then in the one before it.",
    rule_ties_end: "If nothing separates them, they share the standing.",
    rule_running_with: "Workouts that are still open count as they stand now. You can leave them out on the page of standings.",
    rule_running_without: "Workouts that are still open are left out of the overall until they close, unless you ask for them.",
    rule_lowest_level: "Whoever has a result at a lower level stands below everybody who has none.",
}
