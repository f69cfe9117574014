//! How a raw value of an analogue input becomes the quantity that is meant, as data. The arithmetic stands in
//! `crate::sensing`.

/// What is done to a reading before anything else looks at it: first the conversion, then × scale + offset.
#[derive(Clone, Debug, PartialEq)]
pub struct Calibration {
    /// Where the board sends the raw value of a resistive sensor.
    pub conversion: Option<Conversion>,
    /// The factor; 1 for none, never 0.
    pub scale: f64,
    /// What is added, in the sensor's unit; 0 for none.
    pub offset: f64,
}

impl Default for Calibration {
    fn default() -> Calibration {
        Calibration { conversion: None, scale: 1.0, offset: 0.0 }
    }
}

impl Calibration {
    /// Whether a reading counts as it is sent.
    pub fn is_none(&self) -> bool {
        *self == Calibration::default()
    }
}

/// From the raw value of a resistive sensor to lx or °C.
#[derive(Clone, Debug, PartialEq)]
pub enum Conversion {
    /// A light-dependent resistor, to lx.
    Photoresistor {
        /// How it is read; `None` where the board sends its resistance in Ω.
        divider: Option<Divider>,
        /// Its curve.
        curve: LightCurve,
    },
    /// An NTC thermistor, to °C.
    Thermistor {
        /// How it is read; `None` where the board sends its resistance in Ω.
        divider: Option<Divider>,
        /// Its curve.
        curve: NtcCurve,
    },
}

/// A resistive sensor in series with a fixed resistor, the tap between them read by an analogue input.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Divider {
    /// Where the sensor sits.
    pub side: Side,
    /// The other resistor in Ω.
    pub fixed_ohm: f64,
    /// The highest value that the input can send: 1023 for 10 bits, 3.3 for volts, 1 for a ratio.
    pub full_scale: f64,
    /// The voltage at which the input sends that, as a share of the divider's supply; 1 where they are the same.
    pub reference_share: f64,
}

/// Where the sensor sits in a divider.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    /// Between supply and tap: the tap rises as the resistance falls.
    High,
    /// Between tap and ground: the tap falls with the resistance.
    Low,
}

/// The curve of a light-dependent resistor: E = 10 lx · (R10 / R)^(1/γ).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LightCurve {
    /// Resistance at 10 lx in Ω.
    pub r10_ohm: f64,
    /// The slope γ = log10(R10/R100) of data sheets.
    pub gamma: f64,
}

/// How the resistance of an NTC thermistor and its temperature belong together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum NtcCurve {
    /// 1/T = a + b·ln R + c·(ln R)³, R in Ω, T in K (Steinhart and Hart, 1968).
    SteinhartHart {
        /// a in 1/K.
        a: f64,
        /// b in 1/K.
        b: f64,
        /// c in 1/K.
        c: f64,
    },
    /// 1/T = 1/T25 + ln(R/R25)/β.
    Beta {
        /// Resistance at 25 °C in Ω.
        r25_ohm: f64,
        /// β in K.
        beta_k: f64,
    },
}
