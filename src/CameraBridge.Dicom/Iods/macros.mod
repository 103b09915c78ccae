# Macros of PS3.3, edition 2025e: rows that modules share. The form of a row is told in patient.mod.
macro	Code	8.8
CodeValue	1C	lacks LongCodeValue,URNCodeValue
LongCodeValue	1C	elsewhere: only codes of more than 16 characters need it, and Code Value says when it is absent
URNCodeValue	1C	elsewhere: only codes that are a URN need it, and Code Value says when it is absent
CodingSchemeDesignator	1C	may; has CodeValue,LongCodeValue
CodingSchemeVersion	1C	may; AmbiguousScheme
CodeMeaning	1
EquivalentCodeSequence	3	-	items 1-n
>include	Code Item
include	Code Context

macro	Code Item	8.8
CodeValue	1C	lacks LongCodeValue,URNCodeValue
LongCodeValue	1C	elsewhere: only codes of more than 16 characters need it, and Code Value says when it is absent
URNCodeValue	1C	elsewhere: only codes that are a URN need it, and Code Value says when it is absent
CodingSchemeDesignator	1C	may; has CodeValue,LongCodeValue
CodingSchemeVersion	1C	may; AmbiguousScheme
CodeMeaning	1
include	Code Context

macro	Code Context	8.8
ContextIdentifier	3
ContextUID	3
MappingResource	1C	may; has ContextIdentifier	terms DCMR
MappingResourceUID	3
MappingResourceName	3
ContextGroupVersion	1C	has ContextIdentifier
ContextGroupExtensionFlag	3	-	Y|N
ContextGroupLocalVersion	1C	ContextGroupExtensionFlag=Y
ContextGroupExtensionCreatorUID	1C	ContextGroupExtensionFlag=Y

macro	Hierarchic Designator	10.14
LocalNamespaceEntityID	1C	may; lacks UniversalEntityID
UniversalEntityID	1C	may; lacks LocalNamespaceEntityID
UniversalEntityIDType	1C	has UniversalEntityID	terms DNS|EUI64|ISO|URI|UUID|X400|X500

macro	SOP Instance Reference	10.8
ReferencedSOPClassUID	1
ReferencedSOPInstanceUID	1

macro	Image SOP Instance Reference	10.3
include	SOP Instance Reference
ReferencedFrameNumber	1C	unchecked: whether the other object has several frames is not in this one
ReferencedSegmentNumber	1C	unchecked: whether the other object is a segmentation is not in this one

macro	Person Identification	10.1
PersonIdentificationCodeSequence	1	-	items 1-n
>include	Code
PersonAddress	3
PersonTelephoneNumbers	3
PersonTelecomInformation	3
InstitutionName	1C	may; lacks InstitutionCodeSequence
InstitutionAddress	3
InstitutionCodeSequence	1C	may; lacks InstitutionName	items 1
>include	Code
InstitutionalDepartmentName	3
InstitutionalDepartmentTypeCodeSequence	3	-	items 1; cid B7030
>include	Code

macro	Issuer of Patient ID	10.15
IssuerOfPatientID	3
IssuerOfPatientIDQualifiersSequence	3	-	items 1
>UniversalEntityID	3
>UniversalEntityIDType	1C	has UniversalEntityID	terms DNS|EUI64|ISO|URI|UUID|X400|X500
>IdentifierTypeCode	3
>AssigningFacilitySequence	3	-	items 1
>>include	Hierarchic Designator
>AssigningJurisdictionCodeSequence	3	-	items 1; cid B5001
>>include	Code
>AssigningAgencyOrDepartmentCodeSequence	3	-	items 1
>>include	Code

macro	Content Item	10.2
ValueType	1	-	DATETIME|DATE|TIME|PNAME|UIDREF|TEXT|CODE|NUMERIC|IMAGE|COMPOSITE|WAVEFORM
ObservationDateTime	3
ObservationStartDateTime	3
ConceptNameCodeSequence	1	-	items 1
>include	Code
DateTime	1C	ValueType=DATETIME
Date	1C	ValueType=DATE
Time	1C	ValueType=TIME
PersonName	1C	ValueType=PNAME
UID	1C	ValueType=UIDREF
TextValue	1C	ValueType=TEXT
ConceptCodeSequence	1C	ValueType=CODE	items 1
>include	Code
NumericValue	1C	ValueType=NUMERIC
FloatingPointValue	1C	unchecked: whether the decimal string is precise enough is not in the object
RationalNumeratorValue	1C	unchecked: whether the decimal string is precise enough is not in the object
RationalDenominatorValue	1C	has RationalNumeratorValue
MeasurementUnitsCodeSequence	1C	ValueType=NUMERIC	items 1
>include	Code
ReferencedSOPSequence	1C	ValueType=COMPOSITE|IMAGE|WAVEFORM	items 1
>include	Image SOP Instance Reference
>ReferencedWaveformChannels	1C	unchecked: whether the other object is a waveform is not in this one

macro	Content Item with Modifiers	10.2
include	Content Item
ContentItemModifierSequence	3	-	items 1-n
>include	Content Item

macro	Anatomic Region Item	10.5
include	Code
AnatomicRegionModifierSequence	3	-	items 1-n; cid B2
>include	Code

macro	Primary Anatomic Structure	10.7
PrimaryAnatomicStructureSequence	3	-	items 1-n
>include	Code
>PrimaryAnatomicStructureModifierSequence	3	-	items 1-n; cid B2
>>include	Code

macro	Request Attributes	10.6
RequestedProcedureID	1C	unchecked: whether the procedure was scheduled is not in the object
AccessionNumber	3
IssuerOfAccessionNumberSequence	3	-	items 1
>include	Hierarchic Designator
StudyInstanceUID	3
ReferencedStudySequence	3	-	items 1-n
>include	SOP Instance Reference
RequestedProcedureDescription	3
RequestedProcedureCodeSequence	3	-	items 1
>include	Code
ReasonForTheRequestedProcedure	3
ReasonForRequestedProcedureCodeSequence	3	-	items 1-n
>include	Code
ScheduledProcedureStepID	1C	unchecked: whether the procedure was scheduled is not in the object
ScheduledProcedureStepDescription	3
ScheduledProtocolCodeSequence	3	-	items 1-n
>include	Code
>ProtocolContextSequence	3	-	items 1-n
>>include	Content Item with Modifiers
