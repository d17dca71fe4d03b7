use super::*;

fn faults_of(text: &str, args: &SettingsArgs) -> Vec<(String, String)> {
    let mut faults = Vec::new();
    let file = file::File::parse("quoin.toml".to_owned(), text.to_owned(), &mut faults);
    Settings::merge(args, &file, &mut faults);
    faults.into_iter().map(|fault| (fault.place, fault.message)).collect()
}

fn read(text: &str, args: &SettingsArgs) -> Settings {
    let mut faults = Vec::new();
    let file = file::File::parse("quoin.toml".to_owned(), text.to_owned(), &mut faults);
    let settings = Settings::merge(args, &file, &mut faults);
    assert_eq!(faults, []);
    settings
}

#[test]
fn flags_win_over_the_file_and_the_file_over_what_is_built_in() {
    let args = SettingsArgs { workers: Some(7), ..SettingsArgs::default() };
    let settings = read("workers = 3\nqueue_length = 5\n", &args);
    assert_eq!((settings.workers, settings.queue_length, settings.body.max_parts), (7, 5, 1000));
    assert_eq!(settings.body.max_bytes, 256 << 20);
}

#[test]
fn everything_wrong_is_told_with_its_line() {
    let text = "\nworkers = 0\nqueue_length = \"many\"\nworkrs = 3\n\n[[keys]]\nname = \"shop\"\nsha256 = \"12\"\n\n[[stocks]]\nstock = \"white\"\n[stocks.form.sheet]\nsize = \"na_letter_8.5x11in\"\n[stocks.cutting]\nspeck_mm = -1\n";
    let faults = faults_of(text, &SettingsArgs::default());
    let lines: Vec<&str> = faults.iter().map(|(place, _)| place.as_str()).collect();
    assert_eq!(lines, ["quoin.toml:3", "quoin.toml:4", "quoin.toml:2", "quoin.toml:6", "quoin.toml:15"], "{faults:#?}");
}

#[test]
fn thresholds_of_preflight_are_the_shops_own_and_wrong_ones_are_told_with_their_line() {
    let thresholds = |text: &str| {
        let mut faults = Vec::new();
        let file = file::File::parse("quoin.toml".to_owned(), text.to_owned(), &mut faults);
        let stocks = file.stocks(&mut faults);
        (stocks, faults.into_iter().map(|fault| fault.place).collect::<Vec<_>>())
    };
    assert_eq!(thresholds("[preflight]\nresolution_caution_ppi = 200\nhaze_share = 0.5\n").1, [""; 0]);
    let wrong = "[preflight]\nhaze_share = 1.5\nhase_share = 0.5\nfine_line_mm = \"thin\"\nresolution_reject_ppi = 400\nwhite_delta_e = nan\n";
    let mut places = thresholds(wrong).1;
    places.sort();
    assert_eq!(places, ["quoin.toml:2", "quoin.toml:3", "quoin.toml:4", "quoin.toml:5", "quoin.toml:6"]);
}

#[test]
fn broken_toml_is_told_with_its_line() {
    assert_eq!(faults_of("workers = 1\nworkers = \n", &SettingsArgs::default())[0].0, "quoin.toml:2");
}

#[test]
fn a_wrong_flag_names_itself() {
    let args = SettingsArgs { workers: Some(0), ..SettingsArgs::default() };
    assert_eq!(faults_of("", &args)[0].0, "--workers or QUOIN_WORKERS");
}

#[test]
fn an_address_that_is_none_or_open_to_strangers_is_told() {
    let told = |listen: &str| {
        let args = SettingsArgs { listen: Some(listen.to_owned()), ..SettingsArgs::default() };
        Settings::read(&args).err().map(|faults| (faults[0].place.clone(), faults[0].message.clone()))
    };
    for wrong in ["127.0.0.1:99999", "127.0.0.1", "0.0.0.0:0", "[::]:0", "192.0.2.1:0"] {
        let (place, message) = told(wrong).unwrap_or_else(|| panic!("{wrong} was taken"));
        assert!(place.contains("--listen") && message.contains("127.0.0.1"), "{message}");
    }
    assert_eq!(told("127.0.0.1:0"), None);
}

#[test]
fn other_machines_are_let_in_with_keys_or_in_so_many_words() {
    let open: SocketAddr = "0.0.0.0:80".parse().expect("an address");
    let loopback: SocketAddr = "[::1]:80".parse().expect("an address");
    let bare = read("", &SettingsArgs::default());
    assert!(!bare.may_listen_on(open) && bare.may_listen_on(loopback));
    assert!(read("open_without_keys = true", &SettingsArgs::default()).may_listen_on(open));
    let key = format!("[[keys]]\nname = \"shop\"\nsha256 = \"{}\"\n", "0".repeat(64));
    assert!(read(&key, &SettingsArgs::default()).may_listen_on(open));
}
