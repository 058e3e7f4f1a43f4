// Many plans in whatever forms TOML has, edited at random: each is read afterwards as it was meant, and keeps its lines and comments.
#include <doctest/doctest.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>
#include <string>
#include <string_view>
#include <vector>

#include "base/text.h"
#include "song/plan_edit.h"

using namespace sendworthy;
using namespace sendworthy::song;

namespace {

class Chance {
 public:
  explicit Chance(unsigned seed) : engine_(seed) {}
  std::size_t below(std::size_t many) { return engine_() % many; }
  bool one_in(std::size_t many) { return below(many) == 0; }

 private:
  std::mt19937 engine_;
};

/// Writes a plan with a mark in each comment.
class Scribe {
 public:
  explicit Scribe(Chance& chance) : chance_(chance), end_(chance.one_in(3) ? "\r\n" : "\n") {}

  std::string plan() {
    if (chance_.one_in(4)) text_ = "\xEF\xBB\xBF";
    comments();
    const auto form = chance_.below(3);
    if (form == 0) line("song = { mix = \"m.wav\", 'title' = \"T\" }");
    if (form == 1) line("song.mix = \"m.wav\""), maybe("song . artist", "'A'"), line("song.\"feeling\" = \"\"\"" + end_ + "x # no comment" + end_ + "[section]\"\"\"");
    if (form == 2) line("[song]"), maybe("title", "\"T # \\\" '\""), maybe("feeling", "''''a''b" + end_ + "'''"), line("mix = 'm.wav'"), maybe("approach", "\"\""), maybe("previous", "\"p\"");
    std::vector<int> order{0, 1, 2, 3, 4, 5};
    for (std::size_t i = order.size(); i > 1; --i) std::swap(order[i - 1], order[chance_.below(i)]);
    for (const int part : order) {
      if (part == 0) sections();
      if (part == 1) stems();
      if (part == 2) vocal();
      if (part == 3) wishes();
      if (part == 4) questions();
      if (part == 5 && chance_.one_in(3)) line("[[ reference ]]"), line("file = \"r\""), line("[severity]"), line("movement = \"note\"");
    }
    if (chance_.one_in(4) && text_.ends_with(end_)) text_.resize(text_.size() - end_.size());
    return text_;
  }

 private:
  std::string mark() { return "#" + std::string(chance_.below(3), ' ') + "c" + std::to_string(++marks_) + ";"; }
  void line(const std::string& words) {
    text_ += (chance_.one_in(6) ? "\t" : "") + words + (chance_.one_in(3) ? "  " + mark() : "") + end_;
    if (chance_.one_in(8)) comments();
  }
  void comments() {
    for (auto n = chance_.below(3); n > 0; --n) text_ += (chance_.one_in(3) ? std::string() : mark()) + end_;
  }
  void maybe(const std::string& key, const std::string& value) {
    if (chance_.one_in(3)) return;
    if (chance_.one_in(4)) return line("# " + key + " = " + value.substr(0, value.find('\n')) + mark());
    line(key + (chance_.one_in(3) ? "=" : "  = ") + value);
  }
  void table(const std::string& header) {
    if (chance_.one_in(2)) text_ += end_;
    comments();
    line(chance_.one_in(4) ? header.substr(0, header.rfind('[') + 1) + " " + header.substr(header.rfind('[') + 1) : header);
  }
  std::string range() {
    const auto low = static_cast<int>(chance_.below(5)), high = low + static_cast<int>(chance_.below(5));
    if (chance_.one_in(4)) return "[]";
    if (chance_.one_in(3)) return "[" + mark() + end_ + std::to_string(low) + " ," + mark() + end_ + end_ + std::to_string(high) + ".5, " + mark() + end_ + "]";
    return "[" + std::to_string(low) + ", " + std::to_string(high) + ".25]";
  }
  void sections() {
    sections_ = chance_.below(4);
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < sections_; ++i) order.insert(order.begin() + static_cast<std::ptrdiff_t>(chance_.below(i + 1)), i);
    for (const auto i : order) {
      table("[[section]]");
      const bool late = chance_.one_in(2);
      if (!late) line("name = \"s " + std::to_string(i) + "\"");
      const auto second = std::to_string(10 + 10 * i);
      line(std::vector<std::string>{"start = " + second, "start = " + second + ".5", "start = \"0:" + second + ".250\"", "'start' = '0:00:" + second + "'"}[chance_.below(4)]);
      if (late) line("\"name\" = 's " + std::to_string(i) + "'");
      maybe("end", std::to_string(15 + 10 * i) + ".125");
      if (i == 1) maybe("biggest", "true");
      if (i == 2) maybe("quietest", chance_.one_in(2) ? "true" : "false");
    }
  }
  void stems() {
    for (std::size_t i = 0; i < 2; ++i) {
      table("[[stem]]");
      line("name = 'stem " + std::to_string(i) + "'"), line("file = \"f" + std::to_string(i) + "\""), line("role = \"bass\""), maybe("priority", std::to_string(i + 1));
    }
  }
  void vocal() {
    const auto form = chance_.below(4);
    const auto name = "\"s " + std::to_string(chance_.below(std::max<std::size_t>(sections_, 1))) + "\"";
    const bool named = sections_ > 0 && sections_written();
    if (form == 0) table("[vocal]"), maybe("above_band", range()), line(named ? "sections = { " + name + " = [1, 2] }" : "sections = {}");
    if (form == 1 && named) table("[vocal.sections]"), line(name + " = " + range());
    if (form == 2 && named) table("[vocal]"), line("sections." + name + " = " + range());
    if (form == 3) table("[backing]"), maybe("under_lead", range());
  }
  [[nodiscard]] bool sections_written() const { return text_.find("[section]]") != std::string::npos || text_.find("[ section]]") != std::string::npos; }
  void wishes() {
    if (chance_.one_in(2)) table("[dynamics]"), maybe("quiet_to_loud", "6"), maybe("movement", "1.50"), maybe("biggest_margin", "1e0");
    if (chance_.one_in(2)) table("[low_end]"), maybe("below_hz", "1_20"), maybe("lowest", "'kick'"), maybe("kick_over_bass", "-3"), maybe("bass_steadiness", "+4.0");
    if (chance_.one_in(2)) table("[\"masking\"]"), maybe("most", "0x1F");
    if (chance_.one_in(2)) table("[ 'quiet' ]"), maybe("level_db_spl", "40"), maybe("small_speaker", "false"), maybe("moved", "5.5");
  }
  void questions() {
    const bool named = sections_ > 0 && sections_written();
    for (auto n = chance_.below(3); n > 0; --n) {
      table("[[question]]");
      line("id = \"q-" + std::to_string(n) + "\""), line("text = \"Is it \\\"so\\\"?\"");
      if (named) maybe("section", "\"s " + std::to_string(chance_.below(sections_)) + "\"");
      maybe("heard", "\"mono\"");
    }
  }

  Chance& chance_;
  const std::string end_;
  std::string text_;
  int marks_ = 0;
  std::size_t sections_ = 0;
};

std::vector<std::string> lines_of(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t begin = 0; begin < text.size();) {
    const auto end = std::min(text.find('\n', begin), text.size());
    lines.push_back(text.substr(begin, end - begin));
    if (lines.back().ends_with('\r')) lines.back().pop_back();
    begin = end + 1;
  }
  return lines;
}

/// How many lines of `a` are not in `b` in their order, by the longest common subsequence.
std::size_t lost(const std::vector<std::string>& a, const std::vector<std::string>& b) {
  std::vector<std::vector<std::size_t>> common(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
  for (std::size_t i = a.size(); i-- > 0;) {
    for (std::size_t j = b.size(); j-- > 0;) common[i][j] = a[i] == b[j] ? common[i + 1][j + 1] + 1 : std::max(common[i + 1][j], common[i][j + 1]);
  }
  return a.size() - common[0][0];
}

std::set<std::string> marks_of(const std::string& text) {
  std::set<std::string> marks;
  for (std::size_t at = 0; (at = text.find('#', at)) != std::string::npos; ++at) {
    const auto from = text.find_first_not_of(' ', at + 1), to = text.find(';', at);
    if (from != std::string::npos && text[from] == 'c' && to != std::string::npos && to - from < 5) marks.insert(text.substr(from, to - from));
  }
  return marks;
}

bool keeps_comments(const std::string& before, const std::string& after) {
  const auto a = marks_of(before), b = marks_of(after);
  return std::ranges::includes(b, a);
}

/// The keys as a sheet would tell them: what was wanted can be held against it without the code that edits.
std::map<std::string, std::string> told(const Plan& plan) {
  const auto number = [](const std::optional<double>& value) { return value ? base::shortest(*value) : std::string(); };
  const auto range = [](const std::optional<Range>& value) { return value ? base::shortest(value->low) + ".." + base::shortest(value->high) : std::string(); };
  return {{"song.title", plan.title}, {"song.artist", plan.artist}, {"song.feeling", plan.feeling}, {"song.approach", plan.approach}, {"song.mix", plan.mix}, {"song.previous", plan.previous},
          {"vocal.above_band", range(plan.above_band_lu)}, {"backing.under_lead", range(plan.under_lead_lu)}, {"dynamics.quiet_to_loud", number(plan.dynamics.quiet_to_loud_lu)},
          {"dynamics.biggest_margin", number(plan.dynamics.biggest_margin_lu)}, {"dynamics.movement", number(plan.dynamics.movement_db)}, {"low_end.below_hz", number(plan.low_end.below_hz)},
          {"low_end.lowest", std::string(to_string(plan.low_end.lowest))}, {"low_end.kick_over_bass", number(plan.low_end.kick_over_bass_db)},
          {"low_end.bass_steadiness", number(plan.low_end.bass_steadiness_db)}, {"masking.most", number(plan.most_masked_percent)}, {"quiet.level_db_spl", number(plan.quiet.level_db_spl)},
          {"quiet.reference_db_spl", number(plan.quiet.reference_db_spl)}, {"quiet.small_speaker", plan.quiet.small_speaker ? "yes" : "no"}, {"quiet.moved", number(plan.quiet.moved_db)}};
}

/// Some value that the key may have, and how it is told.
std::pair<SetKey, std::string> some_value(const std::string& key, Chance& chance) {
  const auto table = key.substr(0, key.find('.'));
  if (table == "song") {
    const std::vector<std::string> texts{"a", "two words", "\"q\" \\ # ' ]", "[section]", "\xE2\x80\xAE\xF0\x9F\x8E\xB5", "1:2"};
    auto text = texts[chance.below(texts.size())];
    if ((key == "song.feeling" || key == "song.approach") && chance.one_in(2)) text += "\n" + texts[chance.below(texts.size())] + "\n";
    return {{key, text}, text};
  }
  if (key == "low_end.lowest") {
    const std::string word = chance.one_in(2) ? "kick" : "bass";
    return {{key, word}, word};
  }
  if (key == "quiet.small_speaker") {
    const bool flag = chance.one_in(2);
    return {{key, flag}, flag ? "yes" : "no"};
  }
  const double value = static_cast<double>(40 + chance.below(80)) / 4 + (key == "low_end.below_hz" || key == "quiet.reference_db_spl" ? 50 : 0);
  if (table == "vocal" || table == "backing") return {{key, Range{-value, value}}, base::shortest(-value) + ".." + base::shortest(value)};
  return {{key, value}, base::shortest(value)};
}

std::string rest_of(const Plan& plan) {
  std::string text;
  for (const auto& one : plan.sections) text += one.name + base::shortest(one.start_s) + base::shortest(one.end_s.value_or(-1)) + (one.biggest ? "b" : "") + (one.quietest ? "q" : "") + (one.vocal_lu ? base::shortest(one.vocal_lu->high) : "") + ";";
  for (const auto& one : plan.stems) text += one.name + one.file + std::string(to_string(one.role)) + std::to_string(one.priority.value_or(0)) + ";";
  for (const auto& one : plan.questions) text += one.id + one.text + std::string(to_string(one.heard)) + (one.section ? plan.sections[*one.section].name : "") + ";";
  return text + std::to_string(plan.references.size()) + std::to_string(plan.severities.size());
}

void set_some_key(const std::string& text, const Plan& plan, Chance& chance) {
  auto wanted = told(plan);
  auto key = wanted.begin();
  std::advance(key, chance.below(wanted.size()));
  const auto value = some_value(key->first, chance);
  auto edit = value.first;
  auto as = value.second;
  if (chance.one_in(4) && key->first != "song.mix") {
    edit.to = std::monostate(), as = told(Plan())[key->first];
  }
  const auto after = edit_plan(text, std::vector<PlanEdit>{edit});
  REQUIRE_MESSAGE(after, to_string(after.error()) << " for " << edit.key << " in\n" << text);
  key->second = as;
  const auto read = parse_plan(*after, "");
  REQUIRE(read);
  CHECK_MESSAGE(told(*read) == wanted, edit.key << "\n" << text << "\nbecame\n" << *after);
  CHECK(rest_of(*read) == rest_of(plan));
  CHECK_MESSAGE(keeps_comments(text, *after), edit.key << "\n" << text << "\nbecame\n" << *after);
  CHECK_MESSAGE(lost(lines_of(text), lines_of(*after)) <= 4, *after);  // a range over four lines, or a text over three
  CHECK(edit_plan(*after, std::vector<PlanEdit>{edit}) == *after);
}

void set_some_sections(const std::string& text, const Plan& plan, Chance& chance) {
  std::set<std::size_t> asked;
  for (const auto& one : plan.questions) {
    if (one.section) asked.insert(*one.section);
  }
  SetSections edit;
  double at = static_cast<double>(chance.below(3000)) / 1000;
  int added = 0;
  std::size_t removed = 0;
  const auto add = [&] {
    edit.sections.push_back({{}, "new \"" + std::to_string(++added) + "\"", at, {}, false, false});
    at += 0.5 + static_cast<double>(chance.below(4000)) / 1000;
  };
  for (std::size_t i = 0; i < plan.sections.size(); ++i) {
    if (chance.one_in(4)) add();
    if (chance.one_in(5) && !asked.contains(i)) {
      ++removed;
      continue;
    }
    const auto& one = plan.sections[i];
    WantedSection wanted{i, one.name, one.start_s, one.own_end ? one.end_s : std::nullopt, false, false};
    if (chance.one_in(3)) wanted.name = "re " + std::to_string(i);
    if (chance.one_in(2) || wanted.start_s < at) wanted.start_s = at;
    at = wanted.start_s + 1;
    if (wanted.end_s && (chance.one_in(2) || *wanted.end_s <= at)) wanted.end_s = at + 0.125;
    if (chance.one_in(4)) wanted.end_s = chance.one_in(2) ? std::optional(at) : std::nullopt;
    at = std::max(at, wanted.end_s.value_or(0)) + static_cast<double>(chance.below(4000)) / 1000;
    edit.sections.push_back(wanted);
  }
  while (chance.one_in(3)) add();
  if (!edit.sections.empty()) {
    edit.sections[chance.below(edit.sections.size())].biggest = true;
    auto& quietest = edit.sections[chance.below(edit.sections.size())];
    quietest.quietest = !quietest.biggest;
  }
  const auto after = edit_plan(text, std::vector<PlanEdit>{edit});
  REQUIRE_MESSAGE(after, to_string(after.error()) << " in\n" << text);
  const auto read = parse_plan(*after, "");
  REQUIRE(read);
  REQUIRE(read->sections.size() == edit.sections.size());
  for (std::size_t i = 0; i < edit.sections.size(); ++i) {
    const auto &is = read->sections[i];
    const auto &wanted = edit.sections[i];
    CHECK(is.name == wanted.name);
    CHECK(is.start_s == doctest::Approx(wanted.start_s).epsilon(1e-9));
    CHECK(is.own_end == wanted.end_s.has_value());
    if (wanted.end_s) CHECK(*is.end_s == doctest::Approx(*wanted.end_s).epsilon(1e-9));
    CHECK(is.biggest == wanted.biggest);
    CHECK(is.quietest == wanted.quietest);
    CHECK(is.vocal_lu == (wanted.was ? plan.sections[*wanted.was].vocal_lu : std::optional<Range>()));
  }
  for (std::size_t q = 0; q < plan.questions.size(); ++q) {
    const auto &was = plan.questions[q].section, &is = read->questions[q].section;
    REQUIRE(was.has_value() == is.has_value());
    if (was) CHECK(edit.sections[*is].was == *was);
  }
  CHECK(told(*read) == told(plan));
  if (removed == 0) CHECK_MESSAGE(keeps_comments(text, *after), text << "\nbecame\n" << *after);
}

void change_some_others(const std::string& text, const Plan& plan, Chance& chance) {
  const std::optional<int> priority = chance.one_in(3) ? std::nullopt : std::optional(1 + static_cast<int>(chance.below(99)));
  const StemChange stem{"stem " + std::to_string(chance.below(2)), chance.one_in(2) ? std::optional(Role::pad) : std::nullopt, priority};
  std::vector<PlanEdit> edits{SetStems{{stem}}};
  const auto section = !plan.sections.empty() && chance.one_in(2) ? std::optional(plan.sections[chance.below(plan.sections.size())].name) : std::nullopt;
  edits.emplace_back(AddQuestion{"", {"New?", section, {}, Heard::lows}});
  if (!plan.questions.empty()) edits.emplace_back(SetQuestion{plan.questions[0].id, {"Is it?", "", {}, Heard::full}});
  if (plan.questions.size() > 1) edits.emplace_back(RemoveQuestion{plan.questions[1].id});
  const auto after = edit_plan(text, edits);
  REQUIRE_MESSAGE(after, to_string(after.error()) << " in\n" << text);
  const auto read = parse_plan(*after, "");
  REQUIRE(read);
  const auto index = static_cast<std::size_t>(stem.name.back() - '0');
  CHECK(read->stems[index].priority == priority);
  CHECK(read->stems[index].role == stem.role.value_or(Role::bass));
  CHECK(read->stems[1 - index].priority == plan.stems[1 - index].priority);
  REQUIRE(read->questions.size() == (plan.questions.empty() ? 1 : 2));
  const auto& added = read->questions.back();
  CHECK(added.text == "New?");
  CHECK(added.heard == Heard::lows);
  CHECK((added.section ? read->sections[*added.section].name : "") == section.value_or(""));
  if (!plan.questions.empty()) {
    CHECK(read->questions[0].text == "Is it?");
    CHECK_FALSE(read->questions[0].section);
    CHECK(read->questions[0].heard == Heard::full);
  }
  if (plan.questions.size() < 2) CHECK_MESSAGE(keeps_comments(text, *after), text << "\nbecame\n" << *after);
  CHECK(told(*read) == told(plan));
}

}  // namespace

TEST_CASE("plans in whatever form, edited at random, are read as meant and keep their comments") {
  std::size_t plans = 0;
  for (unsigned seed = 0; plans < 600; ++seed) {
    REQUIRE(seed < 3000);
    Chance chance(seed);
    const auto text = Scribe(chance).plan();
    const auto plan = parse_plan(text, "");
    if (!plan) continue;  // an end beyond the next start, say
    ++plans;
    CAPTURE(seed);
    CHECK(edit_plan(text, std::vector<PlanEdit>{}) == text);
    for (int i = 0; i < 4; ++i) set_some_key(text, *plan, chance);
    set_some_sections(text, *plan, chance);
    change_some_others(text, *plan, chance);
  }
}
