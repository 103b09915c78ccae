# Modules of the patient and the study, PS3.3 edition 2025e.
# Columns: attribute with one > for each level of nesting, type, condition, constraint. A module of a repeating group names the group behind its
# section. Condition: "has A,B" any present; "lacks A,B" all absent; "A=V|W"; a name of IodConditions; "may;" before it: allowed otherwise too;
# "unchecked: why" where no object tells; "elsewhere: why" where another row or rule answers. Constraint: enumerated values R|L, "terms A|B" for
# defined terms, "2: values" for the second value, "when NAME: values", "items 1-n", "cid D4209" or "cid B4040,4029" for the codes of an item (a
# defined or a baseline context group), "open: why" for items whose attributes are not looked at; several parted by "; ".
module	Patient	C.7.1.1
PatientName	2
PatientID	2
include	Issuer of Patient ID
TypeOfPatientID	3	-	terms TEXT|RFID|BARCODE
PatientBirthDate	2
PatientBirthDateInAlternativeCalendar	3
PatientDeathDateInAlternativeCalendar	3
PatientAlternativeCalendar	1C	has PatientBirthDateInAlternativeCalendar,PatientDeathDateInAlternativeCalendar	terms PROLEPTIC GREGN|JULIAN|PROLEPTIC JULIAN|EGYPTIAN REGNAL|HEBREW|HIJRI
PatientSex	2	-	M|F|O
ReferencedPatientPhotoSequence	3	-	items 1
>TypeOfInstances	1	-	terms DICOM|CDA
>StudyInstanceUID	1C	unchecked: the information model of the other object is not in this one
>SeriesInstanceUID	1C	unchecked: the information model of the other object is not in this one
>ReferencedSOPSequence	1	-	items 1-n
>>include	SOP Instance Reference
>>HL7InstanceIdentifier	1C	unchecked: the type of instances stands one level higher
>>ReferencedFrameNumber	1C	unchecked: whether the other object has several frames is not in this one
>>ReferencedSegmentNumber	1C	unchecked: whether the other object is a segmentation is not in this one
>DICOMRetrievalSequence	1C	may; lacks DICOMMediaRetrievalSequence,WADORetrievalSequence,XDSRetrievalSequence,WADORSRetrievalSequence	items 1-n
>>RetrieveAETitle	1
>DICOMMediaRetrievalSequence	1C	may; lacks DICOMRetrievalSequence,WADORetrievalSequence,XDSRetrievalSequence,WADORSRetrievalSequence	items 1-n
>>StorageMediaFileSetID	2
>>StorageMediaFileSetUID	1
>WADORetrievalSequence	1C	may; lacks DICOMRetrievalSequence,DICOMMediaRetrievalSequence,XDSRetrievalSequence,WADORSRetrievalSequence	items 1-n
>>RetrieveURI	1
>XDSRetrievalSequence	1C	may; lacks DICOMRetrievalSequence,DICOMMediaRetrievalSequence,WADORetrievalSequence,WADORSRetrievalSequence	items 1-n
>>RepositoryUniqueID	1
>>HomeCommunityID	3
>WADORSRetrievalSequence	1C	may; lacks DICOMRetrievalSequence,DICOMMediaRetrievalSequence,WADORetrievalSequence,XDSRetrievalSequence	items 1-n
>>RetrieveURL	1
QualityControlSubject	3	-	YES|NO
ReferencedPatientSequence	3	-	items 1
>include	SOP Instance Reference
PatientBirthTime	3
OtherPatientIDsSequence	3	-	items 1-n
>PatientID	1
>include	Issuer of Patient ID
>TypeOfPatientID	1	-	terms TEXT|RFID|BARCODE
OtherPatientNames	3
EthnicGroupCodeSequence	3	-	items 1-n
>include	Code
EthnicGroups	3
PatientComments	3
PatientSpeciesDescription	1C	unchecked: whether the patient is a human is not in the object
PatientSpeciesCodeSequence	1C	unchecked: whether the patient is a human is not in the object	items 1
>include	Code
PatientBreedDescription	2C	may; has PatientSpeciesDescription,PatientSpeciesCodeSequence
PatientBreedCodeSequence	2C	has PatientSpeciesDescription,PatientSpeciesCodeSequence	items 0-n
>include	Code
BreedRegistrationSequence	2C	has PatientSpeciesDescription,PatientSpeciesCodeSequence	items 0-n
>BreedRegistrationNumber	1
>BreedRegistryCodeSequence	1	-	items 1
>>include	Code
StrainDescription	3
StrainNomenclature	3
StrainCodeSequence	3	-	items 1-n
>include	Code
StrainAdditionalInformation	3
StrainStockSequence	3	-	items 1
>StrainStockNumber	1
>StrainSource	1
>StrainSourceRegistryCodeSequence	1	-	items 1
>>include	Code
GeneticModificationsSequence	3	-	items 1-n
>GeneticModificationsDescription	1
>GeneticModificationsNomenclature	1
>GeneticModificationsCodeSequence	3	-	items 1-n
>>include	Code
ResponsiblePerson	2C	may; has PatientSpeciesDescription,PatientSpeciesCodeSequence
ResponsiblePersonRole	1C	has ResponsiblePerson	terms OWNER|PARENT|CHILD|SPOUSE|SIBLING|RELATIVE|GUARDIAN|CUSTODIAN|AGENT|INVESTIGATOR|VETERINARIAN
ResponsibleOrganization	2C	may; has PatientSpeciesDescription,PatientSpeciesCodeSequence
PatientIdentityRemoved	3	-	YES|NO
DeidentificationMethod	1C	may; DeidentifiedWithoutMethodCode
DeidentificationMethodCodeSequence	1C	may; DeidentifiedWithoutMethodText	items 1-n; cid D7050
>include	Code
SourcePatientGroupIdentificationSequence	3	-	items 1
>PatientID	1
>include	Issuer of Patient ID
GroupOfPatientsIdentificationSequence	3	-	items 1-n
>PatientID	1
>include	Issuer of Patient ID
>SubjectRelativePositionInImage	3
>PatientPosition	3

module	General Study	C.7.2.1
StudyInstanceUID	1
StudyDate	2
StudyTime	2
ReferringPhysicianName	2
ReferringPhysicianIdentificationSequence	3	-	items 1
>include	Person Identification
ConsultingPhysicianName	3
ConsultingPhysicianIdentificationSequence	3	-	items 1-n
>include	Person Identification
StudyID	2
AccessionNumber	2
IssuerOfAccessionNumberSequence	3	-	items 1
>include	Hierarchic Designator
StudyDescription	3
PhysiciansOfRecord	3
PhysiciansOfRecordIdentificationSequence	3	-	items 1-n
>include	Person Identification
NameOfPhysiciansReadingStudy	3
PhysiciansReadingStudyIdentificationSequence	3	-	items 1-n
>include	Person Identification
RequestingService	3
RequestingServiceCodeSequence	3	-	items 1; cid D7030
>include	Code
ReferencedStudySequence	3	-	items 1-n
>include	SOP Instance Reference
ProcedureCodeSequence	3	-	items 1-n
>include	Code
ReasonForPerformedProcedureCodeSequence	3	-	items 1-n
>include	Code

module	Patient Study	C.7.2.2
AdmittingDiagnosesDescription	3
AdmittingDiagnosesCodeSequence	3	-	items 1-n
>include	Code
PrincipalDiagnosisCodeSequence	3	-	items 1
>include	Code
PrimaryDiagnosisCodeSequence	3	-	items 1
>include	Code
SecondaryDiagnosesCodeSequence	3	-	items 1-n
>include	Code
HistologicalDiagnosesCodeSequence	3	-	items 1-n
>include	Code
PatientAge	3
PatientSize	3
PatientWeight	3
PatientBodyMassIndex	3
MeasuredAPDimension	3
MeasuredLateralDimension	3
PatientSizeCodeSequence	3	-	items 1-n
>include	Code
MedicalAlerts	3
Allergies	3
SmokingStatus	3	-	YES|NO|UNKNOWN
PregnancyStatus	3	-	1|2|3|4
LastMenstrualDate	3
PatientState	3
Occupation	3
AdditionalPatientHistory	3
AdmissionID	3
IssuerOfAdmissionIDSequence	3	-	items 1
>include	Hierarchic Designator
ReasonForVisit	3
ReasonForVisitCodeSequence	3	-	items 1-n
>include	Code
ServiceEpisodeID	3
IssuerOfServiceEpisodeIDSequence	3	-	items 1
>include	Hierarchic Designator
ServiceEpisodeDescription	3
PatientSexNeutered	2C	may; has PatientSpeciesDescription,PatientSpeciesCodeSequence	ALTERED|UNALTERED
GenderIdentitySequence	3	-	items 1-n
>GenderIdentityCodeSequence	1	-	items 1
>>include	Code
>EffectiveStartDateTime	3
>EffectiveStopDateTime	3
>GenderIdentityComment	3
SexParametersForClinicalUseCategorySequence	3	-	items 1-n
>SexParametersForClinicalUseCategoryCodeSequence	1	-	items 1
>>include	Code
>EffectiveStartDateTime	3
>EffectiveStopDateTime	3
>SexParametersForClinicalUseCategoryComment	2C	unchecked: the code that needs it is not in these tables
>SexParametersForClinicalUseCategoryReference	2C	unchecked: the code that needs it is not in these tables
PersonNamesToUseSequence	3	-	items 1-n
>NameToUse	1
>EffectiveStartDateTime	3
>EffectiveStopDateTime	3
>NameToUseComment	3
ThirdPersonPronounsSequence	3	-	items 1-n
>PronounCodeSequence	1	-	items 1
>>include	Code
>EffectiveStartDateTime	3
>EffectiveStopDateTime	3
>PronounComment	3
