//! The cautions in English.
//!
//! Symptoms of muscle breakdown: NIOSH, "Signs and Symptoms" of rhabdomyolysis
//! (cdc.gov/niosh/topics/rhabdo/symptoms.html). The rest is common practice, no source, and wants
//! a medical review before use.

use crate::words::cautions::Cautions;

/// The block.
pub const CAUTIONS: Cautions = Cautions {
    title: "Before you start",
    intro: "Hard training can hurt. Read this once, and keep the address, the emergency number and the place of the defibrillator where everybody sees them.",
    groups: &[
        (
            "Stop at once, call the emergency number and send for the defibrillator",
            &[
                "Pain or pressure in the chest, an arm or the jaw.",
                "Fainting, or near it. Collapse.",
                "Breathlessness that prevents talking, or an irregular heartbeat.",
                "Confusion or collapse when hot: cool the person at once, and call.",
            ],
        ),
        (
            "Stop",
            &[
                "Sharp pain, or pain in a joint.",
                "A blow to the head: no return that day.",
                "Loss of control of the load. When technique goes, lighten or rest.",
                "Anyone may stop an athlete. The score is the reps done to then, without a penalty.",
            ],
        ),
        (
            "Do not take part",
            &[
                "With fever or a recent infection.",
                "Ask a physician first with a heart condition, sudden cardiac death in the family, chest pain at any time, dizziness or high blood pressure; when pregnant or post-partum; after a long break; when new to training.",
                "Asthma inhaler and diabetes kit in reach.",
            ],
        ),
        (
            "Afterwards: muscle breakdown (rhabdomyolysis)",
            &[
                "It can follow unusual volume, lowering or hanging work, heat, or illness.",
                "Severe pain or swelling, weakness, dark urine, one to three days later too: medical care at once.",
            ],
        ),
        (
            "On the floor",
            &[
                "Warm up. Collars on. An empty lane behind a heavy lift. Know how to bail; no hand spotting overhead.",
                "Boxes and rigs fixed, floor clear.",
                "Under 18: a guardian's consent and a qualified coach; no maximal single without both.",
            ],
        ),
    ],
    standing: "Local codes, the gym's rules and licensed professionals come first. This is no medical advice. Muscle breakdown: after NIOSH (US); the rest is common practice.",
};
