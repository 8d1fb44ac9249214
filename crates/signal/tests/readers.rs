//! Every shape of recorded file that is read, and every way in which one is refused, from files written here.

use signal::fault::{Place, Wrong};
use signal::read::{Given, read};
use signal::{Capture, Fault, Format, Trace};
use units::{Seconds, Volts};

const PLAIN: Given = Given {
    interval: None,
    full_scale: None,
};

fn given(interval: f64) -> Given {
    Given {
        interval: Some(Seconds(interval)),
        full_scale: None,
    }
}

fn take(bytes: &[u8], given: &Given) -> Result<Capture, Fault> {
    read(bytes, given)
}

struct Shape {
    name: &'static str,
    text: &'static str,
    interval: Option<f64>,
    channels: &'static [&'static str],
    unit: &'static str,
    /// Time of the first sample and seconds a sample.
    times: (f64, f64),
    /// First three values of the last channel.
    values: [f32; 3],
}

const fn shape(name: &'static str, text: &'static str) -> Shape {
    Shape {
        name,
        text,
        interval: None,
        channels: &["CH1"],
        unit: "V",
        times: (0.0, 1e-6),
        values: [1.0, 2.5, -3.0],
    }
}

/// Invented captures in the shapes that oscilloscopes and loggers write.
fn shapes() -> Vec<Shape> {
    vec![
        shape(
            "time and volts in the header",
            "Time (s),CH1 (V)\n0,1\n1e-6,2.5\n2e-6,-3\n",
        ),
        shape(
            "units in a row of their own",
            "Time,CH1\n(s),(V)\n0,1\n1e-6,2.5\n2e-6,-3\n",
        ),
        shape(
            "long unit words",
            "x-axis,CH1\nsecond,Volt\n0.0E+00,1.0E+00\n1.0E-06,2.5E+00\n2.0E-06,-3.0E+00\n",
        ),
        shape(
            "microseconds and millivolts",
            "Time (us);CH1 (mV)\n0;1000\n1;2500\n2;-3000\n",
        ),
        shape(
            "milliseconds with the micro sign",
            "Time [µs],CH1 [V]\n0,1\n1,2.5\n2,-3\n",
        ),
        shape(
            "semicolons and decimal commas",
            "Zeit;CH1\ns;V\n0,0;1,0\n0,000001;2,5\n0,000002;-3,0\n",
        ),
        shape(
            "tabs and decimal commas",
            "Time\tCH1\ns\tV\n0\t1,0\n1,0E-6\t2,5\n2,0E-6\t-3,0\n",
        ),
        shape(
            "quoted fields with decimal commas",
            "\"Time\",\"CH1 (V)\"\n\"0,0\",\"1,0\"\n\"0,000001\",\"2,5\"\n\"0,000002\",\"-3,0\"\n",
        ),
        shape(
            "blanks between columns",
            "# Time CH1\n# s V\n0.0   1.0\n1e-6  2.5\n2e-6 -3.0\n",
        ),
        shape(
            "carriage returns and blank lines",
            "Time (s),CH1 (V)\r\n\r\n0,1\r\n1e-6,2.5\r\n\r\n2e-6,-3\r\n",
        ),
        shape(
            "a byte order mark",
            "\u{feff}Time (s),CH1 (V)\n0,1\n1e-6,2.5\n2e-6,-3\n",
        ),
        shape(
            "no newline at the end",
            "Time (s),CH1 (V)\n0,1\n1e-6,2.5\n2e-6,-3",
        ),
        shape(
            "trailing separators",
            "Time (s),CH1 (V),\n0,1,\n1e-6,2.5,\n2e-6,-3,\n",
        ),
        shape(
            "engineering suffixes",
            "Time (s),CH1 (V)\n0,1000m\n1u,2.5\n2u,-3\n",
        ),
        shape("time with a slash unit", "t/us,CH1 (V)\n0,1\n1,2.5\n2,-3\n"),
        shape(
            "time with an underscore unit",
            "time_us,CH1 (V)\n0,1\n1,2.5\n2,-3\n",
        ),
        shape(
            "an interval in the preamble",
            "Recorder,invented\nSample Interval,1.0E-6\nCH1 (V)\n1\n2.5\n-3\n",
        ),
        shape(
            "an increment with its unit",
            "Increment: 1 us\nCH1 (V)\n1\n2.5\n-3\n",
        ),
        shape(
            "an interval with its unit in brackets",
            "Interval (ms),0.001\nPoints,3\nCH1 (V)\n1\n2.5\n-3\n",
        ),
        shape(
            "a rate in the preamble",
            "Sample Rate,1 MSa/s\nCH1 (V)\n1\n2.5\n-3\n",
        ),
        Shape {
            times: (-2e-3, 1e-6),
            ..shape(
                "an origin in the preamble",
                "interval=1e-6\nFirst sample,-2 ms\nCH1 (V)\n1\n2.5\n-3\n",
            )
        },
        Shape {
            times: (-3e-3, 1e-6),
            ..shape(
                "start and increment beside the names",
                "X,CH1,Start,Increment\nSequence,Volt,-3.0e-3,1.0e-6\n0,1,,\n1,2.5,,\n2,-3,,\n",
            )
        },
        Shape {
            times: (-5e-4, 1e-6),
            ..shape(
                "rows shorter than the start and increment header",
                "X,CH1,Start,Increment\nSequence,Volt,-5.0e-4,1.0e-6\n0,1\n1,2.5\n2,-3\n",
            )
        },
        Shape {
            times: (-5e-6, 1e-6),
            ..shape(
                "a preamble beside the rows",
                "Record Length,3,,-5.0e-6,1.0\nSource,CH1,,-4.0e-6,2.5\nVertical Units,V,,-3.0e-6,-3.0\n",
            )
        },
        Shape {
            interval: Some(1e-6),
            ..shape("the interval given by the person", "CH1 (V)\n1\n2.5\n-3\n")
        },
        Shape {
            interval: Some(1e-6),
            ..shape(
                "a running number and the interval given",
                "Sample,CH1 (V)\n0,1\n1,2.5\n2,-3\n",
            )
        },
        Shape {
            channels: &["A", "B"],
            ..shape(
                "two channels",
                "t,A (V),B (V)\n0,9,1\n1e-6,8,2.5\n2e-6,7,-3\n",
            )
        },
        Shape {
            channels: &["A", "B"],
            unit: "A",
            ..shape(
                "channels of different units",
                "Time,A,B\nus,V,mA\n0,9,1000\n1,8,2500\n2,7,-3000\n",
            )
        },
        Shape {
            channels: &["channel 1"],
            unit: "",
            ..shape("no header", "0.0,1\n0.000001,2.5\n0.000002,-3\n")
        },
        Shape {
            channels: &["channel 1"],
            unit: "",
            interval: Some(1e-6),
            ..shape("no header, a counted first column", "0,1\n1,2.5\n2,-3\n")
        },
        Shape {
            channels: &["channel 1", "channel 2"],
            unit: "",
            interval: Some(1e-6),
            ..shape("no header, two channels", "5,1\n4,2.5\n5,-3\n")
        },
        Shape {
            times: (1.0, 0.5),
            ..shape(
                "seconds, not from zero",
                "Seconds,CH1 (V)\n1.0,1\n1.5,2.5\n2.0,-3\n",
            )
        },
        shape(
            "a title and a date above",
            "Capture of an invented unit\n1970-01-01 12:30\n\nTime (s),CH1 (V)\n0,1\n1e-6,2.5\n2e-6,-3\n",
        ),
        shape(
            "a vertical increment that is no time base",
            "Vertical increment,0.04\nInterval,1e-6\nCH1 (V)\n1\n2.5\n-3\n",
        ),
    ]
}

#[test]
fn every_shape_reads_to_the_same_capture() {
    assert!(shapes().len() >= 25);
    for shape in shapes() {
        let given = shape.interval.map_or(PLAIN, given);
        let capture = take(shape.text.as_bytes(), &given)
            .unwrap_or_else(|f| panic!("{}: {f} {:?}", shape.name, f.place));
        let names: Vec<&str> = capture.channels.iter().map(|c| c.name.as_str()).collect();
        assert_eq!(names, shape.channels, "{}", shape.name);
        let last = capture.channels.last().expect("a channel");
        assert_eq!(last.unit, shape.unit, "{}", shape.name);
        let Trace::Sampled { axis, samples } = &last.trace else {
            panic!("{}: not sampled", shape.name)
        };
        assert_eq!(samples[..], shape.values, "{}", shape.name);
        let (start, interval) = (axis.time(0.0), axis.interval());
        let close = |a: f64, b: f64| (a - b).abs() < 1e-12;
        assert!(
            close(start, shape.times.0) && close(interval, shape.times.1),
            "{}: {start} {interval}",
            shape.name
        );
    }
}

#[test]
fn logic_at_uneven_times_holds_until_the_next_row() {
    let capture = take(
        b"Time [s],D0,D1\n0,0,1\n0.125,1,1\n0.5,0,1\n3.75,1,0\n",
        &PLAIN,
    )
    .expect("a capture");
    let Trace::Stepped(steps) = &capture.channels[0].trace else {
        panic!("not stepped")
    };
    assert_eq!(steps.times, [0.0, 0.125, 0.5, 3.75]);
    assert_eq!(steps.values, [Some(0.0), Some(1.0), Some(0.0), Some(1.0)]);
    assert!(!capture.notes.is_empty());
}

fn refuse(text: &[u8], given: &Given, place: Place, what: impl Fn(&Wrong) -> bool) {
    let shown = String::from_utf8_lossy(&text[..text.len().min(60)]);
    match take(text, given) {
        Ok(capture) => panic!("{shown}: read as {capture:?}"),
        Err(fault) => {
            assert!(what(&fault.wrong), "{shown}: {fault:?}");
            assert_eq!(fault.place, place, "{shown}: {fault}");
        }
    }
}

#[test]
fn refusals_of_text_name_the_line() {
    let line = |n, c| Place::Line(n, c);
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,2\n2e-6\n",
        &PLAIN,
        line(4, 1),
        |w| {
            matches!(
                w,
                Wrong::TooFewFields {
                    found: 1,
                    wanted: 2
                }
            )
        },
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n\n1e-6,x\n2e-6,3\n",
        &PLAIN,
        line(4, 6),
        |w| matches!(w, Wrong::NotANumber { .. }),
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,\n2e-6,3\n",
        &PLAIN,
        line(3, 6),
        |w| matches!(w, Wrong::NotANumber { .. }),
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,9.9E+37\n2e-6,3\n",
        &PLAIN,
        line(3, 6),
        |w| matches!(w, Wrong::OverRange { .. }),
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,NaN\n2e-6,3\n",
        &PLAIN,
        line(3, 6),
        |w| matches!(w, Wrong::OverRange { .. }),
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,2,7\n2e-6,3\n",
        &PLAIN,
        line(3, 1),
        |w| matches!(w, Wrong::TooManyFields { .. }),
    );
    refuse(
        b"Time (s),CH1 (V)\n0,1\n2e-6,2\n1e-6,3\n",
        &PLAIN,
        line(4, 1),
        |w| matches!(w, Wrong::TimeGoesBack { .. }),
    );
    refuse(
        b"Time (s),CH1 (V),CH2 (V)\n0,1\n1e-6,2\n",
        &PLAIN,
        line(2, 1),
        |w| {
            matches!(
                w,
                Wrong::TooFewFields {
                    found: 2,
                    wanted: 3
                }
            )
        },
    );
    refuse(b"CH1 (V)\n1\n2\n3\n", &PLAIN, Place::Whole, |w| {
        *w == Wrong::NoTimeBase
    });
    refuse(b"A,B\n1,2\n2,3\n3,1\n", &PLAIN, Place::Whole, |w| {
        *w == Wrong::NoTimeBase
    });
    refuse(b"0,1\n1,2\n2,3\n", &PLAIN, Place::Whole, |w| {
        *w == Wrong::NoTimeBase
    });
    refuse(
        b"Time (s),CH1 (div)\n0,1\n1,2\n",
        &PLAIN,
        Place::Whole,
        |w| matches!(w, Wrong::Divisions { .. }),
    );
    refuse(b"Time (s)\n0\n1\n", &PLAIN, Place::Whole, |w| {
        *w == Wrong::NoChannel
    });
    refuse(b"nothing here\n", &PLAIN, Place::Whole, |w| {
        *w == Wrong::NoRows
    });
    refuse(b"", &PLAIN, Place::Whole, |w| *w == Wrong::Empty);
    refuse(b"\xff\xfeT\0i\0m\0e\0", &PLAIN, Place::Byte(0), |w| {
        *w == Wrong::SixteenBitText
    });
    refuse(
        b"Time (s),CH1 (V)\n0,1\n1e-6,2\n",
        &given(5e-6),
        Place::Whole,
        |w| matches!(w, Wrong::TwoTimeBases { .. }),
    );
    refuse(b"CH1 (V)\n1\n2\n3\n", &given(-1.0), Place::Whole, |w| {
        matches!(w, Wrong::BadInterval { .. })
    });
    let mut long = b"Time (s),CH1 (V)\n0,1\n1e-6,".to_vec();
    long.resize(long.len() + 600_000, b'1');
    refuse(&long, &PLAIN, line(3, 1), |w| {
        matches!(w, Wrong::LongLine { .. })
    });
}

#[test]
fn a_fault_far_down_a_long_file_has_its_line() {
    let mut text = String::from("Time (s),CH1 (V)\n");
    (0..200_000).for_each(|i| text += &format!("{:.6},{:.3}\n", i as f64 * 1e-6, (i % 7) as f64));
    let good = take(text.as_bytes(), &PLAIN).expect("a capture");
    let Trace::Sampled { axis, samples } = &good.channels[0].trace else {
        panic!("not sampled")
    };
    assert_eq!(
        (samples.len(), samples[199_999]),
        (200_000, (199_999 % 7) as f32)
    );
    assert!(axis.is_uniform() && (axis.interval() - 1e-6).abs() < 1e-15);
    text += "0.2,garbled\n";
    refuse(text.as_bytes(), &PLAIN, Place::Line(200_002, 5), |w| {
        matches!(w, Wrong::NotANumber { .. })
    });
}

const DUMP: &str = "$date today $end\n$timescale 10 ns $end\n$scope module unit $end\n$var wire 1 ! clk $end\n$var wire 2 \" bus [1:0] $end\n$var real 64 # rail $end\n$scope module inner $end\n$var wire 1 ! clk2 $end\n$upscope $end\n$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\nx!\nb00 \"\nr-12.5 #\n$end\n#5\n1!\n#10\n0!\nb10 \"\n#15\n1!\nr-11 #\n#20\n0!\nb1 \"\n#100\n";

#[test]
fn a_value_change_dump_gives_wires_bits_and_numbers() {
    let capture = take(DUMP.as_bytes(), &PLAIN).expect("a capture");
    let names: Vec<&str> = capture.channels.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["clk", "bus[1]", "bus[0]", "rail", "inner.clk2"]);
    let steps = |i: usize| match &capture.channels[i].trace {
        Trace::Stepped(steps) => steps.clone(),
        other => panic!("{other:?}"),
    };
    let clock = steps(0);
    assert_eq!(
        clock.values,
        [None, Some(1.0), Some(0.0), Some(1.0), Some(0.0)]
    );
    assert!((clock.times[1] - 50e-9).abs() < 1e-18 && (clock.end - 1e-6).abs() < 1e-15);
    assert_eq!(steps(1).values, [Some(0.0), Some(1.0), Some(0.0)]);
    assert_eq!(steps(2).values, [Some(0.0), Some(1.0)]);
    assert_eq!(steps(3).values, [Some(-12.5), Some(-11.0)]);
    assert_eq!(steps(4), clock);
}

#[test]
fn refusals_of_dumps_name_the_line() {
    let bad = |from: &str, to: &str, line: u64, what: &dyn Fn(&Wrong) -> bool| {
        let text = DUMP.replacen(from, to, 1);
        assert_ne!(text, DUMP);
        refuse(text.as_bytes(), &PLAIN, Place::Line(line, 1), what);
    };
    bad("#15\n1!", "#15\n1?", 24, &|w| {
        matches!(w, Wrong::UnknownCode { .. })
    });
    bad("#10\n", "#3\n", 20, &|w| {
        matches!(w, Wrong::TimeGoesBack { .. })
    });
    bad("b10 \"", "b102 \"", 22, &|w| {
        matches!(w, Wrong::NotUnderstood { .. })
    });
    bad("10 ns", "7 ns", 2, &|w| {
        matches!(w, Wrong::NotUnderstood { .. })
    });
    bad("#100\n", "b10", 29, &|w| {
        matches!(w, Wrong::EndsInside { .. })
    });
    refuse(b"$var wire 1 ! a $end\n", &PLAIN, Place::Line(2, 1), |w| {
        matches!(w, Wrong::EndsInside { .. })
    });
}

/// The same dump through the general-purpose library that reads such files.
#[test]
fn a_dump_reads_as_the_published_library_reads_it() {
    let mut text = String::from(
        "$timescale 1 ns $end\n$scope module unit $end\n$var wire 1 ! a $end\n$var wire 1 % b $end\n$upscope $end\n$enddefinitions $end\n",
    );
    let mut state = 7u64;
    for tick in 0..3000 {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        text += &format!("#{}\n{}!\n", tick * 3, (state >> 40) & 1);
        if state >> 33 & 3 == 0 {
            text += &format!("{}%\n", (state >> 50) & 1);
        }
    }
    let ours = take(text.as_bytes(), &PLAIN).expect("a capture");
    let mut theirs = wellen::simple::read_from_reader(std::io::Cursor::new(text.into_bytes()))
        .expect("the library reads it");
    let vars: Vec<_> = theirs
        .hierarchy()
        .all_vars()
        .map(|v| theirs.hierarchy()[v].signal_ref())
        .collect();
    theirs.load_signals(&vars);
    for (channel, var) in ours.channels.iter().zip(vars) {
        let Trace::Stepped(steps) = &channel.trace else {
            panic!("not stepped")
        };
        let signal = theirs.get_signal(var).expect("a signal");
        let mut changes: Vec<(u64, String)> = Vec::new();
        for (index, value) in signal.iter_changes() {
            let value = value.to_bit_string().expect("bits");
            if changes.last().is_none_or(|(_, last)| *last != value) {
                changes.push((theirs.time_table()[index as usize], value));
            }
        }
        let mine: Vec<(u64, String)> = steps
            .times
            .iter()
            .zip(&steps.values)
            .map(|(t, v)| {
                (
                    (t * 1e9).round() as u64,
                    v.map_or("x".into(), |v| v.to_string()),
                )
            })
            .collect();
        assert_eq!(mine, changes, "{}", channel.name);
    }
}

fn trace_file() -> Vec<u8> {
    use fst_writer::*;
    let info = FstInfo {
        start_time: 0,
        timescale_exponent: -9,
        version: "test".into(),
        date: "invented".into(),
        file_type: FstFileType::Verilog,
    };
    let path = std::env::temp_dir().join(format!("signal-{}.fst", std::process::id()));
    let mut writer = open_fst(&path, &info).expect("a file");
    writer
        .scope("unit", "unit", FstScopeType::Module)
        .expect("a scope");
    let clock = writer
        .var(
            "clk",
            FstSignalType::bit_vec(1),
            FstVarType::Wire,
            FstVarDirection::Implicit,
            None,
        )
        .expect("a wire");
    let bus = writer
        .var(
            "bus",
            FstSignalType::bit_vec(2),
            FstVarType::Wire,
            FstVarDirection::Implicit,
            None,
        )
        .expect("a bus");
    writer.up_scope().expect("a scope");
    let mut writer = writer.finish().expect("a body");
    for (time, level, bits) in [
        (0, b"0", b"00"),
        (5, b"1", b"00"),
        (12, b"0", b"01"),
        (20, b"1", b"11"),
    ] {
        writer.time_change(time).expect("a time");
        writer.signal_change(clock, level).expect("a change");
        writer.signal_change(bus, bits).expect("a change");
    }
    writer.finish().expect("an end");
    let bytes = std::fs::read(&path).expect("the file");
    std::fs::remove_file(&path).expect("removal");
    bytes
}

#[test]
fn a_fast_signal_trace_reads_and_its_damage_is_named() {
    let bytes = trace_file();
    let capture = take(&bytes, &PLAIN).expect("a capture");
    assert_eq!(capture.format, Format::Fst);
    let names: Vec<&str> = capture.channels.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["clk", "bus[1]", "bus[0]"]);
    let Trace::Stepped(clock) = &capture.channels[0].trace else {
        panic!("not stepped")
    };
    assert_eq!(clock.values, [Some(0.0), Some(1.0), Some(0.0), Some(1.0)]);
    assert!((clock.times[2] - 12e-9).abs() < 1e-20);
    for cut in [bytes.len() - 3, bytes.len() / 2, 400] {
        let fault = take(&bytes[..cut], &PLAIN).expect_err("a cut-off file");
        assert!(matches!(fault.place, Place::Byte(_)), "{fault:?}");
    }
}

fn wave(float: bool, bits: u16) -> Vec<u8> {
    let format = if float {
        hound::SampleFormat::Float
    } else {
        hound::SampleFormat::Int
    };
    let spec = hound::WavSpec {
        channels: 2,
        sample_rate: 48_000,
        bits_per_sample: bits,
        sample_format: format,
    };
    let mut bytes = std::io::Cursor::new(Vec::new());
    let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a writer");
    for i in 0..5000i32 {
        for channel in 0..2 {
            let value = ((i * 37 + channel * 11) % 200 - 100) as f32 / 100.0 * 0.99;
            if float {
                writer.write_sample(value).expect("a sample");
            } else {
                writer
                    .write_sample((value * (1i64 << (bits - 1)) as f32) as i32)
                    .expect("a sample");
            }
        }
    }
    writer.finalize().expect("an end");
    bytes.into_inner()
}

#[test]
fn waves_of_every_width_read_as_the_published_library_writes_them() {
    for (float, bits) in [
        (false, 8),
        (false, 16),
        (false, 24),
        (false, 32),
        (true, 32),
    ] {
        let bytes = wave(float, bits);
        let capture = take(&bytes, &PLAIN).expect("a capture");
        assert_eq!(capture.channels.len(), 2);
        let volts = take(
            &bytes,
            &Given {
                interval: None,
                full_scale: Some(Volts(5.0)),
            },
        )
        .expect("a capture");
        for channel in 0..2 {
            let Trace::Sampled { axis, samples } = &capture.channels[channel].trace else {
                panic!("not sampled")
            };
            assert_eq!(samples.len(), 5000);
            assert!((axis.interval() - 1.0 / 48_000.0).abs() < 1e-15 && axis.time(0.0) == 0.0);
            let Trace::Sampled {
                samples: in_volts, ..
            } = &volts.channels[channel].trace
            else {
                panic!("not sampled")
            };
            for i in 0..5000i32 {
                let value = ((i * 37 + channel as i32 * 11) % 200 - 100) as f32 / 100.0 * 0.99;
                assert!(
                    (samples[i as usize] - value).abs()
                        <= 1.01 / (1i64 << (bits.min(24) - 1)) as f32,
                    "{bits} bits, {i}"
                );
                assert!((in_volts[i as usize] - 5.0 * samples[i as usize]).abs() < 1e-6);
            }
        }
        assert_eq!(volts.channels[0].unit, "V");
    }
    let bytes = wave(false, 16);
    let end = bytes.len() as u64 - 101;
    refuse(&bytes[..bytes.len() - 101], &PLAIN, Place::Byte(end), |w| {
        matches!(w, Wrong::CutOff { missing: 101, .. })
    });
    refuse(&bytes[..20], &PLAIN, Place::Byte(20), |w| {
        matches!(w, Wrong::EndsInside { .. })
    });
}

#[test]
fn arrays_of_every_kind_read_as_the_published_library_writes_them() {
    use npyz::WriterBuilder;
    fn array<T: npyz::AutoSerialize + Copy>(
        shape: &[u64],
        order: npyz::Order,
        values: &[T],
    ) -> Vec<u8> {
        let mut bytes = Vec::new();
        let mut writer = npyz::WriteOptions::new()
            .default_dtype()
            .shape(shape)
            .order(order)
            .writer(&mut bytes)
            .begin_nd()
            .expect("a writer");
        writer.extend(values.iter().copied()).expect("values");
        writer.finish().expect("an end");
        bytes
    }
    let check = |bytes: &[u8], channels: usize| {
        let capture = take(bytes, &given(2e-6)).expect("a capture");
        assert_eq!(capture.channels.len(), channels);
        for (c, channel) in capture.channels.iter().enumerate() {
            let Trace::Sampled { axis, samples } = &channel.trace else {
                panic!("not sampled")
            };
            let wanted: Vec<f32> = (0..6).map(|i| (i * 10 + c) as f32).collect();
            assert_eq!((&samples[..], axis.interval()), (&wanted[..], 2e-6));
        }
        refuse(bytes, &PLAIN, Place::Whole, |w| *w == Wrong::NoTimeBase);
        refuse(
            &bytes[..bytes.len() - 1],
            &given(1.0),
            Place::Byte(bytes.len() as u64 - 1),
            |w| matches!(w, Wrong::CutOff { missing: 1, .. }),
        );
    };
    let one: Vec<f64> = (0..6).map(|i| i as f64 * 10.0).collect();
    check(&array(&[6], npyz::Order::C, &one), 1);
    check(
        &array(
            &[6],
            npyz::Order::C,
            &one.iter().map(|v| *v as f32).collect::<Vec<_>>(),
        ),
        1,
    );
    check(
        &array(
            &[6],
            npyz::Order::C,
            &one.iter().map(|v| *v as i16).collect::<Vec<_>>(),
        ),
        1,
    );
    check(
        &array(
            &[6],
            npyz::Order::C,
            &one.iter().map(|v| *v as u8).collect::<Vec<_>>(),
        ),
        1,
    );
    let by_rows: Vec<f32> = (0..6)
        .flat_map(|i| [i as f32 * 10.0, i as f32 * 10.0 + 1.0])
        .collect();
    let by_columns: Vec<f32> = (0..12).map(|k| ((k % 6) * 10 + k / 6) as f32).collect();
    check(&array(&[6, 2], npyz::Order::C, &by_rows), 2);
    check(&array(&[6, 2], npyz::Order::Fortran, &by_columns), 2);
    check(&array(&[2, 6], npyz::Order::C, &by_columns), 2);
    refuse(
        &array(&[2, 2], npyz::Order::C, &[1.0f32; 4]),
        &given(1.0),
        Place::Whole,
        |w| matches!(w, Wrong::WhichWay { .. }),
    );
    let nan = array(&[3], npyz::Order::C, &[1.0f64, f64::NAN, 2.0]);
    let at = nan.len() as u64 - 16;
    refuse(&nan, &given(1.0), Place::Byte(at), |w| {
        matches!(w, Wrong::OverRange { .. })
    });
}

/// Random damage to a good file of each kind: a fault or a capture, never a crash, and never a value that is no number.
#[test]
fn damaged_files_never_crash() {
    let mut seeds: Vec<Vec<u8>> = shapes()
        .iter()
        .map(|s| s.text.as_bytes().to_vec())
        .collect();
    seeds.extend([
        DUMP.as_bytes().to_vec(),
        wave(false, 16)[..400].to_vec(),
        trace_file(),
    ]);
    let mut state = 12345u64;
    let mut next = |below: usize| {
        state = state
            .wrapping_mul(6364136223846793005)
            .wrapping_add(1442695040888963407);
        (state >> 33) as usize % below
    };
    let quiet = std::panic::take_hook();
    std::panic::set_hook(Box::new(|_| {}));
    for round in 0..6000 {
        let mut bytes = seeds[round % seeds.len()].clone();
        for _ in 0..1 + next(4) {
            let at = next(bytes.len());
            match next(4) {
                0 => bytes[at] = next(256) as u8,
                1 => bytes[at] = b"0123456789,;.\n\"-eE#$x"[next(21)],
                2 => bytes.truncate(at.max(1)),
                _ => {
                    let copy = bytes[at..(at + 1 + next(20)).min(bytes.len())].to_vec();
                    let to = next(bytes.len());
                    bytes.splice(to..to, copy);
                }
            }
        }
        if let Ok(capture) = take(&bytes, &if round % 2 == 0 { PLAIN } else { given(1e-6) }) {
            for channel in &capture.channels {
                if let Trace::Sampled { samples, .. } = &channel.trace {
                    assert!(samples.iter().all(|v| v.is_finite()));
                }
                signal::measure::measure(&channel.trace);
            }
        }
    }
    std::panic::set_hook(quiet);
}
