#include "sheet/html_frame.h"

#include <utility>

#include "base/text.h"
#include "sheet/html_assets.h"

namespace sendworthy::sheet {

std::string safe(std::string_view text) { return base::for_xml(base::for_terminal(text)); }

std::string page_head(std::string_view title) {
  std::string out =
      "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n"
      "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src '";
  out += std::string(kPageStyleDigest) + "'; script-src '" + std::string(kPageScriptDigest) +
         "'; base-uri 'none'; form-action 'none'\">\n<meta name=\"viewport\" content=\"width=device-width, "
         "initial-scale=1\">\n"
         "<meta name=\"color-scheme\" content=\"light dark\">\n<title>";
  out += safe(title) + "</title>\n<style>" + std::string(kPageStyle) + "</style>\n</head>\n<body>\n";
  return out;
}

std::string page_foot(std::string_view tool_version, PageScript script) {
  auto out = "<footer class=\"soft\"><p>sendworthy " + safe(tool_version) + ". Nothing passes that was not measured; what was not asked was not judged.</p></footer>\n";
  if (script == PageScript::of_the_sheet) out += "<script>" + std::string(kPageScript) + "</script>\n";
  return out + "</body>\n</html>\n";
}

std::string picture_tools(bool back) {
  std::string out = "<div class=\"tools\" role=\"group\" aria-label=\"Pictures over time\">";
  for (const auto& [move, label] : {std::pair{"closer", "Closer"},
                                    {"wider", "Wider"},
                                    {"earlier", "Earlier"},
                                    {"later", "Later"},
                                    {"all", "Whole file"},
                                    {"back", "Back to the finding"}}) {
    if (back || std::string_view(move) != "back") out += "<button type=\"button\" data-move=\"" + std::string(move) + "\">" + label + "</button>";
  }
  return out + "<p class=\"soft shown\" role=\"status\"></p></div>\n";
}

}  // namespace sendworthy::sheet
