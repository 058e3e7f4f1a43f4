// JUnit XML for build servers: a test case per file and rule. There is no official schema; this keeps to what strict
// XML parsers and the common readers take. docs/formats.md has the mapping.
#include <sendworthy/render.h>

#include <algorithm>
#include <map>
#include <pugixml.hpp>
#include <string>
#include <vector>

#include "base/text.h"
#include "sheet/judged_alone.h"
#include "sheet/order.h"
#include "sheet/phrases.h"

namespace sendworthy {
namespace sheet {
namespace {

constexpr std::size_t kPlacesShown = 5;

/// One line that XML 1.0 allows. pugixml escapes markup and nothing else: it would write control characters as
/// references and pass on bytes that are not UTF-8, and a strict parser refuses both.
std::string xml_line(std::string_view bytes) {
  std::string text = base::for_terminal(bytes);
  for (const std::string_view forbidden : {"\xEF\xBF\xBE", "\xEF\xBF\xBF"}) {
    for (auto at = text.find(forbidden); at != std::string::npos; at = text.find(forbidden, at + 1))
      text.replace(at, forbidden.size(), "\xEF\xBF\xBD");
  }
  return text;
}

struct Totals {
  int tests = 0, failures = 0, errors = 0, skipped = 0;
  void add(const Totals& other) {
    tests += other.tests;
    failures += other.failures;
    errors += other.errors;
    skipped += other.skipped;
  }
  void write(pugi::xml_node node) const {
    node.append_attribute("tests") = tests;
    node.append_attribute("failures") = failures;
    node.append_attribute("errors") = errors;
    node.append_attribute("skipped") = skipped;
  }
};

std::string explanation(const Finding& finding, const Catalog& catalog, int channels) {
  std::string text = headline(finding, catalog);
  const auto add = [&text](std::string_view label, const std::string& more) {
    if (!more.empty()) text += "\n" + std::string(label) + ": " + more;
  };
  std::size_t shown = 0;
  for (; shown < finding.where.size() && shown < kPlacesShown; ++shown)
    add("where", place(finding.where[shown], channels));
  if (shown > 0) {
    const auto rest = and_more(shown, std::max(finding.where_total, static_cast<std::int64_t>(finding.where.size())));
    if (!rest.empty()) text += "\n" + rest;
  }
  for (const auto& file : finding.files) add("file", base::for_terminal(file));
  add("note", base::for_terminal(finding.note));
  add("why", base::for_terminal(finding.why));
  add("move", move_by(finding));
  add("do", base::for_terminal(finding.remedy));
  add("source", base::for_terminal(finding.source));
  return text;
}

class Report {
 public:
  Report(const Catalog& catalog, WarnInJUnit warn) : catalog_(catalog), warn_(warn) {
    auto declaration = document_.append_child(pugi::node_declaration);
    declaration.append_attribute("version") = "1.0";
    declaration.append_attribute("encoding") = "UTF-8";
    root_ = document_.append_child("testsuites");
    root_.append_attribute("name") = "sendworthy";
  }

  void file(const FileSheet& file, bool judged) {
    begin(file.path);
    if (file.error) {
      ++suite_totals_.errors;
      problem(test_case("can be read"), "error", to_string(file.error->code), file.error->text, file.error->text);
    }
    for (const auto& finding : file.findings) add(finding, file.facts.channels);
    for (const auto& skipped : file.skipped) {
      ++suite_totals_.skipped;
      test_case(name_of(skipped.ruleset, skipped.rule)).append_child("skipped").append_attribute("message") =
          xml_line(skipped.reason).c_str();
    }
    if (!judged && !file.error) test_case("was measured");
    end();
  }

  void together(const std::string& name, const std::vector<Finding>& findings) {
    if (findings.empty()) return;
    begin(name);
    for (const auto& finding : findings) add(finding, 0);
    end();
  }

  std::string take() {
    totals_.write(root_);
    struct Writer : pugi::xml_writer {
      std::string text;
      void write(const void* data, size_t size) override { text.append(static_cast<const char*>(data), size); }
    } writer;
    document_.save(writer, "  ", pugi::format_indent, pugi::encoding_utf8);
    return std::move(writer.text);
  }

 private:
  static std::string name_of(const std::string& ruleset, const std::string& rule) {
    return ruleset.empty() ? rule : ruleset + "/" + rule;
  }

  void begin(const std::string& name) {
    name_ = xml_line(name);
    suite_ = root_.append_child("testsuite");
    suite_.append_attribute("name") = name_.c_str();
    suite_totals_ = {};
    names_.clear();
  }

  void end() {
    suite_totals_.write(suite_);
    totals_.add(suite_totals_);
  }

  pugi::xml_node test_case(const std::string& name) {
    ++suite_totals_.tests;
    auto node = suite_.append_child("testcase");
    node.append_attribute("classname") = name_.c_str();
    auto unique = xml_line(name);  // a rule and the waiver for it may both have something to say
    if (const int times = ++names_[unique]; times > 1) unique += " (" + std::to_string(times) + ")";
    node.append_attribute("name") = unique.c_str();
    return node;
  }

  static void problem(pugi::xml_node test, const char* kind, std::string_view type, const std::string& message,
                      const std::string& body) {
    auto node = test.append_child(kind);
    node.append_attribute("type") = std::string(type).c_str();
    node.append_attribute("message") = xml_line(message).c_str();
    node.text() = lines(body).c_str();
  }

  /// Cleans line by line: the line ends are ours.
  static std::string lines(std::string_view body) {
    std::string text;
    for (;;) {
      const auto end = body.find('\n');
      text += xml_line(body.substr(0, end));
      if (end == std::string_view::npos) return text;
      text += '\n';
      body.remove_prefix(end + 1);
    }
  }

  void add(const Finding& finding, int channels) {
    auto test = test_case(name_of(finding.ruleset, finding.rule));
    const auto words = headline(finding, catalog_);
    const auto fails_as = [&](std::string_view type) {
      ++suite_totals_.failures;
      problem(test, "failure", type, words, explanation(finding, catalog_, channels));
    };
    const auto says = [&](std::string_view word) {
      test.append_child("system-out").text() =
          lines(std::string(word) + ": " + explanation(finding, catalog_, channels)).c_str();
    };
    switch (finding.status) {
      case Status::pass:
        break;
      case Status::note:
        says("note");
        break;
      case Status::warn:
        warn_ == WarnInJUnit::fails ? fails_as("warn") : says("warn");
        break;
      case Status::fail:
        fails_as("fail");
        break;
      case Status::not_measured:
        finding.optional ? says("not measured, not required") : fails_as("not-measured");
        break;
      case Status::waived:
        ++suite_totals_.skipped;
        test.append_child("skipped").append_attribute("message") =
            xml_line("waived: " + (finding.waiver ? waiver_text(*finding.waiver) : "no reason given") + "; " + words)
                .c_str();
        break;
    }
  }

  const Catalog& catalog_;
  const WarnInJUnit warn_;
  pugi::xml_document document_;
  pugi::xml_node root_, suite_;
  std::string name_;
  std::map<std::string, int> names_;
  Totals totals_, suite_totals_;
};

}  // namespace
}  // namespace sheet

std::string render_junit(const Sheet& sheet, const Catalog& catalog, WarnInJUnit warn) {
  sheet::Report report(catalog, warn);
  for (const auto* file : sheet::in_order(sheet.files)) {
    // Of a song the stems are no cases by themselves.
    if (!sheet.song || sheet::judged_alone(*file)) report.file(*file, sheet.judged);
  }
  report.together(sheet.song ? "the song" : "the whole set", sheet.findings);
  return report.take();
}

}  // namespace sendworthy
