fn main() {
    use hingewright::simulated::*;
    let t = std::time::Instant::now();
    let s = Scenario::default();
    let mut n = 0;
    for i in 0..20 {
        n += simulate(&s, i).capture.len();
    }
    eprintln!("{} B each, {:?} each", n / 20, t.elapsed() / 20);
    let r = simulate(&s, 1);
    std::fs::write("/tmp/sim0.log", &r.capture).unwrap();
    eprintln!("{:#?}", r.truth);
}
