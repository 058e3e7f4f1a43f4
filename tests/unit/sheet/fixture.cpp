#include "unit/sheet/fixture.h"

#include <cmath>
#include <limits>
#include <string>

namespace sendworthy::fixture {
namespace {

CatalogEntry entry(std::string_view id, std::string_view title, Group group, Unit unit, int decimals) {
  CatalogEntry made;
  made.id = id;
  made.title = title;
  made.group = group;
  made.unit = unit;
  made.decimals = decimals;
  return made;
}

Finding finding(std::string rule, std::string measure, Status status, Outcome outcome, Unit unit) {
  Finding made;
  made.ruleset = "premaster";
  made.rule = std::move(rule);
  made.measure = std::move(measure);
  made.key = made.measure;
  made.status = made.before_waiver = status;
  made.outcome = std::move(outcome);
  made.unit = unit;
  made.source = "common practice, no source";
  return made;
}

Finding limited(Finding made, LimitKind kind, Value limit, std::string text) {
  made.limit_kind = kind;
  made.limit = std::move(limit);
  made.limit_text = std::move(text);
  return made;
}

Where at(double start_s, double end_s, int channel, std::string note = "", int rate = 48000) {
  Where where;
  where.start_s = start_s;
  where.end_s = end_s;
  where.start_frame = static_cast<std::int64_t>(std::lround(start_s * rate));
  where.end_frame = static_cast<std::int64_t>(std::lround(end_s * rate));
  where.channel = channel;
  where.note = std::move(note);
  return where;
}

Measurement measured(std::string id, Outcome outcome, std::vector<std::optional<double>> channels = {}) {
  Measurement made;
  made.id = made.key = std::move(id);
  made.outcome = std::move(outcome);
  made.channels = std::move(channels);
  return made;
}

Facts stereo_facts() {
  Facts facts;
  facts.container = "WAV";
  facts.encoding = "PCM 24-bit";
  facts.sample_rate = 48000;
  facts.bit_depth = 24;
  facts.channels = 2;
  facts.channel_layout = "stereo";
  facts.frames = 10329600;
  facts.duration_s = 215.2;
  facts.file_size = 61977644;
  facts.tags = {{"title", "Paper Lantern", "INFO"}, {"artist", "The Example Tides", "INFO"}};
  return facts;
}

Sheet empty_sheet() {
  Sheet sheet;
  sheet.tool_version = "0.1.0";
  sheet.libraries = {{"libsndfile", "1.2.0"}, {"TagLib", "1.13"}};
  sheet.rules = {{"premaster", "Stereo mix to mastering", "A stereo mix as a mastering engineer wants it.",
                  "xxh128:0123456789abcdef0123456789abcdef", "shipped"}};
  return sheet;
}

const Caution kCaution{
    "If you monitor at 80 dB(A), this file alone uses 0.1 % of a week's sound allowance for adults. An estimate, no "
    "substitute for a sound level meter.",
    "ITU-T H.870 (2022)"};

Finding true_peak_fault() {
  auto made = limited(finding("true-peak", "true_peak", Status::fail, Value(0.4321), Unit::dbtp), LimitKind::above,
                      Value(-1.0), "at most -1.0 dBTP");
  made.change_db = -1.4321;
  made.true_peak_after_db = -1.0;
  made.where = {at(41.203, 41.203, 2), at(72.01, 72.0104, 1), at(101.5, 101.5, 2), at(130.25, 130.25, 1)};
  made.where_total = 41;
  made.why = "Converters and lossy encoders clip what lies above 0 dBTP between the samples.";
  made.remedy = "Turn the mix bus down by 1.5 dB; the true peak is then -1.0 dBTP.";
  made.source = "EBU Tech 3341 (2023)";
  return made;
}

Finding noise_floor_unknown(bool optional) {
  auto made = limited(finding("noise-floor", "noise_floor", Status::not_measured,
                              NotMeasured{"no quiet part of half a second"}, Unit::dbfs),
                      LimitKind::above, Value(-60.0), "at most -60.0 dBFS");
  made.why = "Noise that is masked now comes up when the level is raised.";
  made.remedy = "Leave a second of silence from the session at the start or the end.";
  made.optional = optional;
  return made;
}

Finding head_warning() {
  auto made = limited(finding("leading-silence", "leading_silence", Status::warn, Value(0.00213), Unit::seconds),
                      LimitKind::below, Value(0.01), "at least 0.010 s");
  made.where = {at(0, 0.00213, 0)};
  made.where_total = 1;
  made.why = "An export that starts at once may have lost the front of its first attack.";
  made.remedy = "Export from one bar before the first note.";
  return made;
}

Finding loudness_note(double lufs) {
  auto made = finding("loudness", "integrated_loudness", Status::note, Value(lufs), Unit::lufs);
  made.why = "Services turn loud music down, so this is no fault.";
  return made;
}

Finding fade_waived() {
  auto made = limited(finding("fade-out", "fade_out", Status::waived, Value(9.13), Unit::seconds), LimitKind::above,
                      Value(0.0), "at most 0.00 s");
  made.before_waiver = Status::warn;
  made.waiver = AppliedWaiver{"the fade is part of the arrangement", "EX", "2027-01-31"};
  made.where = {at(206.07, 215.2, 0)};
  made.where_total = 1;
  made.why = "Fades are easier to set in mastering.";
  made.remedy = "Export without the fade.";
  return made;
}

Finding rate_pass() {
  return limited(finding("sample-rate", "sample_rate", Status::pass, Value(48000.0), Unit::hz), LimitKind::below,
                 Value(44100.0), "at least 44100 Hz");
}

Finding container_pass() {
  return limited(finding("container", "container", Status::pass, Value(std::string("WAV")), Unit::text),
                 LimitKind::unless, Value(std::string("WAV, AIFF, FLAC")), "one of WAV, AIFF, FLAC");
}

Finding clipped_pass() {
  return limited(finding("clipping", "clipped_runs", Status::pass, Value(0.0), Unit::count), LimitKind::above,
                 Value(0.0), "at most 0");
}

Finding mono_pass() {
  return limited(finding("dual-mono", "dual_mono", Status::pass, Value(false), Unit::boolean), LimitKind::unless,
                 Value(false), "no");
}

std::vector<Measurement> measurements() {
  std::vector<Measurement> all{measured("clipped_runs", Value(0.0)),
                               measured("container", Value(std::string("WAV"))),
                               measured("dual_mono", Value(false)),
                               measured("fade_out", Value(9.13)),
                               measured("integrated_loudness", Value(-14.2345)),
                               measured("leading_silence", Value(0.00213)),
                               measured("loudness_range", Value(6.06)),
                               measured("noise_floor", NotMeasured{"no quiet part of half a second"}),
                               measured("sample_peak", Value(-0.04), {-0.04, -0.9}),
                               measured("sample_rate", Value(48000.0)),
                               measured("trailing_silence", Value(2.1)),
                               measured("true_peak", Value(0.4321), {-0.12, 0.4321})};
  return all;
}

FileSheet mix_file() {
  FileSheet file;
  file.path = "bounces/paper-lantern_mix3.wav";
  file.audio_digest = "xxh128:00112233445566778899aabbccddeeff";
  file.facts = stereo_facts();
  file.measurements = measurements();
  file.findings = {true_peak_fault(), noise_floor_unknown(false),
                   head_warning(),    loudness_note(-14.2345),
                   fade_waived(),     rate_pass(),
                   container_pass(),  clipped_pass(),
                   mono_pass()};
  file.skipped = {{"premaster", "lfe", "only for files with an LFE channel"},
                  {"premaster", "surround-order", "only for files with 6 or 8 channels"}};
  file.cautions = {kCaution};
  file.verdict = verdict_of(file.findings);
  return file;
}

const std::string kHostile =
    "a \"quote\" 'single' <script>alert(1)</script> ]]> & &amp; \n\r\t\x1b[31mred\x1b[0m \x07 \x7f \xff\xfe\x80 "
    "\xe2\x80\xae"
    "drow\xe2\x80\xac \xc2\x9b 31m \xef\xbf\xbf | * _x_ `code` [link](x) # \\ {} \xe6\xbc\xa2\xe5\xad\x97 e\xcc\x81";

}  // namespace

const Catalog& small_catalog() {
  static const std::vector<CatalogEntry> entries{
      entry("container", "Container", Group::format, Unit::text, 0),
      entry("sample_rate", "Sample rate", Group::format, Unit::hz, 0),
      entry("chunks", "Chunks", Group::format, Unit::list, 0),
      entry("integrated_loudness", "Integrated loudness", Group::level, Unit::lufs, 1),
      entry("loudness_range", "Loudness range", Group::level, Unit::lu, 1),
      entry("true_peak", "True peak", Group::level, Unit::dbtp, 1),
      entry("sample_peak", "Sample peak", Group::level, Unit::dbfs, 1),
      entry("clipped_runs", "Clipped runs", Group::level, Unit::count, 0),
      entry("phase_correlation", "Phase correlation", Group::stereo, Unit::ratio, 2),
      entry("low_phase_correlation", "Phase correlation, low end", Group::stereo, Unit::ratio, 2),
      entry("dual_mono", "Dual mono", Group::stereo, Unit::boolean, 0),
      entry("leading_silence", "Silence at the start", Group::edges, Unit::seconds, 3),
      entry("trailing_silence", "Silence at the end", Group::edges, Unit::seconds, 3),
      entry("fade_out", "Fade-out", Group::edges, Unit::seconds, 2),
      entry("noise_floor", "Noise floor", Group::noise, Unit::dbfs, 1),
  };
  static const Catalog made = [] {
    Catalog all;
    for (const auto& one : entries) all.entries.push_back(&one);
    return all;
  }();
  return made;
}

Sheet one_mix() {
  auto sheet = empty_sheet();
  sheet.files = {mix_file()};
  sheet.verdict = Verdict::fail;
  return sheet;
}

Sheet clean_mix() {
  auto sheet = empty_sheet();
  auto file = mix_file();
  file.path = "paper-lantern_mix4.wav";
  file.findings = {rate_pass(), container_pass(), clipped_pass(), mono_pass()};
  file.cautions.clear();
  file.skipped.clear();
  file.verdict = Verdict::pass;
  sheet.files = {file};
  sheet.verdict = Verdict::pass;
  return sheet;
}

Sheet many_stems() {
  auto sheet = empty_sheet();
  int index = 0;
  for (const auto* name : {"01_kick", "02_snare", "03_hats", "04_bass", "05_keys", "06_guitar", "07_lead", "08_backing",
                           "09_strings", "10_brass", "11_effects", "12_room"}) {
    auto file = mix_file();
    file.path = std::string("stems/") + name + ".wav";
    file.role = "stem";
    file.findings = {rate_pass(), container_pass(), clipped_pass(), loudness_note(-20.0 - index),
                     noise_floor_unknown(true)};
    if (index == 0 || index == 3) file.findings.insert(file.findings.begin(), true_peak_fault());
    if (index == 5) file.findings.push_back(head_warning());
    if (index == 6) file.findings.push_back(fade_waived());
    file.verdict = verdict_of(file.findings);
    sheet.files.push_back(std::move(file));
    ++index;
  }
  FileSheet lost;
  lost.path = "stems/13_lost.wav";
  lost.role = "stem";
  lost.verdict = Verdict::fail;
  lost.error = Error{ErrorCode::missing, "stems/13_lost.wav does not exist; check the name, or export it again", {}};
  sheet.files.push_back(std::move(lost));
  sheet.verdict = Verdict::fail;
  return sheet;
}

Sheet measured_mix() {
  auto sheet = empty_sheet();
  sheet.judged = false;
  sheet.rules.clear();
  auto file = mix_file();
  file.findings.clear();
  file.skipped.clear();
  auto low = measured("low_phase_correlation", Value(0.876));
  low.key = "low_phase_correlation(below_hz=150)";
  file.measurements.push_back(low);
  file.measurements.push_back(measured("phase_correlation", NotApplicable{"only for two channels"}));
  file.measurements.push_back(measured("chunks", Value(std::string("fmt , bext, data, LIST"))));
  for (auto& one : file.measurements) {
    if (one.id != "clipped_runs") continue;
    one.outcome = Value(3.0);
    one.channels = {2.0, 1.0};
    one.where = {at(41.203, 41.2033, 1, "14 samples"), at(72.01, 72.0104, 2, "19 samples"), at(99.0, 99.0005, 1)};
    one.where_total = 3;
    one.note = "the longest is 24 samples";
  }
  Timeline line;
  line.id = "envelope";
  line.unit = "dBFS";
  line.channel = 2;
  line.step_s = 0.1;
  line.values = {-20.04F, std::nanf(""), -3.0F};
  file.timelines = {line};
  line.id = "momentary";
  line.unit = "LUFS";
  line.channel = 0;
  file.timelines.push_back(line);
  sheet.files = {file};
  return sheet;
}

Sheet two_rule_sets() {
  auto sheet = one_mix();
  sheet.rules.push_back({"cd", "Compact disc", "", "xxh128:fedcba9876543210fedcba9876543210", "rules/cd.toml"});
  auto& findings = sheet.files.front().findings;
  auto again = true_peak_fault();
  again.ruleset = "cd";
  findings.push_back(again);
  auto unused = finding("fade-out", "", Status::warn, Value(std::string("a waiver that nothing used")), Unit::text);
  unused.why = "A waiver that fits no finding hides the next one.";
  unused.remedy = "Remove the waiver.";
  unused.files = {"bounces/paper-lantern_mix3.wav"};
  sheet.findings = {unused};
  return sheet;
}

Sheet hostile() {
  auto sheet = one_mix();
  sheet.tool_version = kHostile;
  sheet.libraries[kHostile] = kHostile;
  sheet.rules.front() = {kHostile, kHostile, kHostile, kHostile, kHostile};
  auto& file = sheet.files.front();
  file.path = "=cmd|' /C calc'!A0 " + kHostile;
  file.role = kHostile;
  file.facts.container = file.facts.encoding = file.facts.channel_layout = kHostile;
  file.facts.tags = {{"title", kHostile, kHostile}, {"artist", "-" + kHostile, ""}};
  for (auto& one : file.measurements) one.note = kHostile;
  file.measurements.push_back(measured("chunks", Value(kHostile)));
  file.measurements.push_back(measured("phase_correlation", Value(std::nan(""))));
  file.measurements.push_back(measured(kHostile, Value(std::numeric_limits<double>::infinity()), {std::nan(""), {}}));
  auto finding = true_peak_fault();
  finding.ruleset = finding.rule = finding.note = finding.why = finding.remedy = finding.source = kHostile;
  finding.limit_text = finding.where.front().note = finding.where.front().file = kHostile;
  finding.files = {kHostile};
  finding.waiver = AppliedWaiver{kHostile, kHostile, kHostile};
  for (const auto status : {Status::pass, Status::note, Status::warn, Status::fail, Status::waived}) {
    finding.status = status;
    file.findings.push_back(finding);
  }
  finding.status = Status::fail;
  finding.outcome = Value(-std::numeric_limits<double>::infinity());
  finding.change_db = std::nan("");
  file.findings.push_back(finding);
  finding.outcome = Value(kHostile);
  finding.measure = finding.key = kHostile;
  finding.limit = Value("@" + kHostile);
  file.findings.push_back(finding);
  finding.outcome = NotMeasured{kHostile};
  finding.status = Status::not_measured;
  file.findings.push_back(finding);
  sheet.findings = {finding};
  file.skipped.push_back({kHostile, kHostile, kHostile});
  file.cautions.push_back({kHostile, kHostile});
  for (int i = 0; i < 1000; ++i) {
    auto one = true_peak_fault();
    one.rule = "rule-" + std::to_string(i);
    file.findings.push_back(one);
  }
  FileSheet broken;
  broken.path = std::string("\0nul \xc3(", 7) + std::string(300, 'x') + kHostile;
  broken.error = Error{ErrorCode::unrecognised, kHostile, {}};
  sheet.files.push_back(broken);
  FileSheet bare;  // nothing but defaults
  bare.path = "";
  bare.findings.emplace_back();
  sheet.files.push_back(bare);
  return sheet;
}

Sheet large(int files, int findings) {
  auto sheet = empty_sheet();
  for (int i = 0; i < files; ++i) {
    auto file = mix_file();
    file.path = "album/file " + std::to_string(i) + ".wav";
    file.findings.clear();
    for (int j = 0; j < findings; ++j) {
      file.findings.push_back(j % 8 == 0 ? true_peak_fault() : rate_pass());
      file.findings.back().rule += std::to_string(j);
    }
    file.verdict = verdict_of(file.findings);
    sheet.files.push_back(std::move(file));
  }
  sheet.verdict = Verdict::fail;
  return sheet;
}

}  // namespace sendworthy::fixture
